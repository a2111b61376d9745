"""Expected cost of each action, in the policy's units."""

from __future__ import annotations

import numpy as np

from condlube.assessment import kernel
from condlube.assessment.rules import costs, rules
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES


def expected_costs(posterior: FloatArray, context: FloatArray, policy: Policy) -> FloatArray:
    """Expected cost of grease, hold and inspect [bearings, actions].

    Parameters
    ----------
    posterior
        Probability of each state [bearings, states].
    context
        What the priors depend on [bearings, ``rules.CONTEXT``]: holding a starved bearing costs what makes grease and
        hold equal at x = 1 without evidence, with the bearing's own priors; holding an overfilled one costs little in
        the first days after a greasing.
    """
    table = costs(policy)
    return kernel.cost_all(posterior, table, kernel.hold_all(context, rules(policy), table))


def cheapest(cost: FloatArray, allowed: BoolArray) -> IntArray:
    """Position in ``words.ACTIONS`` of the cheapest allowed action [bearings]; -1 where none is allowed."""
    return kernel.cheapest_all(np.ascontiguousarray(cost), np.ascontiguousarray(allowed))


def drier(posterior: FloatArray, policy: Policy) -> BoolArray:
    """Where a starved bearing is so much likelier than a damaged one that it may be greased early [bearings]."""
    likelier = policy.guard.not_dryness.likelier
    return np.asarray(posterior[:, STATES.index("starved")] >= likelier * posterior[:, STATES.index("damaged")])


def grease_pays(cost: FloatArray) -> BoolArray:
    """Where grease is expected to cost no more than holding [bearings]."""
    either = np.broadcast_to(np.array([action != "inspect" for action in ACTIONS]), cost.shape)
    return np.asarray(cheapest(cost, either) == ACTIONS.index("grease"))
