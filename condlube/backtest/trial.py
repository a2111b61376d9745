"""Another policy's calls from replayed decisions, without replaying: what was weighed stays, the weighing is redone.

Exact for weights and costs as long as the same point speaks for each quantity; the figures of a proposal come from a
replay of its own. Priors, guards and what counts as a change need a replay.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.cost import cheapest
from condlube.advisory.guard_codes import TAKES
from condlube.assessment import kernel
from condlube.assessment.priors import LONG_AGO
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import FloatArray, IntArray, tables
from condlube.backtest.replay import VALUES
from condlube.errors import InvalidArgument
from condlube.lubrication.result import BoolArray
from condlube.policy.diff import differences
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

TRIED = ("weights.", "cost.", "policy.")
"""Sections that a trial can change."""
ROWS = 100_000
_PRIORS = [f"prior_{state}" for state in STATES]


class Facts:
    """What a trial needs of replayed decisions: priors, values weighed, context and what the guards left."""

    def __init__(self, decisions: pd.DataFrame, criticality: pd.Series, base: Policy) -> None:
        """``criticality`` of each bearing by bearing_id; ``base`` is the policy that was replayed."""
        self.base = base
        self.prior: FloatArray = np.ascontiguousarray(decisions[_PRIORS].to_numpy(dtype=np.float64))
        self.values: FloatArray = np.ascontiguousarray(decisions[list(VALUES)].to_numpy(dtype=np.float64))
        self.days: FloatArray = np.nan_to_num(decisions["days_since_greasing"].to_numpy(dtype=np.float64), nan=LONG_AGO)
        self.allowed: BoolArray = _allowed(decisions["guards"])
        self.decided: BoolArray = decisions["call"].notna().to_numpy(dtype=np.bool_)
        words, self.words = pd.factorize(decisions["bearing_id"].map(criticality).fillna(""))
        self.word: IntArray = words.astype(np.int64)

    def calls(self, policy: Policy) -> IntArray:
        """Calls under another policy, positions in ``words.ACTIONS``; -1 where nothing had been decided.

        Raises ``InvalidArgument`` where the policy differs in more than weights and costs.
        """
        return self.costs(policy)[1]

    def costs(self, policy: Policy) -> tuple[FloatArray, IntArray]:
        """Expected costs [rows, actions] and calls under another policy."""
        other = [d.key for d in differences(self.base, policy) if not _key(d.key).startswith(TRIED)]
        if other:
            raise InvalidArgument("policy", ", ".join(other), "changes of weights and costs; others need a replay")
        cost = np.full((len(self.prior), len(ACTIONS)), np.nan)
        for at, own, base in self._groups(policy):
            _, cost[at] = assess(self.prior[at], self.values[at], self._context(at, base), own)
        call = np.where(self.decided, cheapest(cost, self.allowed), -1)
        return cost, call

    def _groups(self, policy: Policy) -> Iterator[tuple[IntArray, Policy, Policy]]:
        for code, word in enumerate(self.words):
            rows = np.flatnonzero(self.decided & (self.word == code))
            for start in range(0, len(rows), ROWS):
                at = rows[start : start + ROWS]
                yield at, policy.for_criticality(str(word)), self.base.for_criticality(str(word))

    def _context(self, at: IntArray, base: Policy) -> FloatArray:
        """The columns of the context that costs depend on, read back from the priors; the others are 0."""
        made = np.zeros((len(at), len(CONTEXT)))
        prior = dict(zip(STATES, self.prior[at].T, strict=True))
        column = dict(zip(CONTEXT, made.T, strict=True))
        for state in ("damaged", "machine_fault", "instrument_fault"):
            column[state][:] = prior[state]
        column["supply_factor"][:] = prior["machine_fault"] / max(base.prior.machine_fault, kernel.LEAST)
        column["days"][:] = self.days[at]
        return made


def assess(prior: FloatArray, values: FloatArray, context: FloatArray, policy: Policy) -> tuple[FloatArray, FloatArray]:
    """Posterior and expected costs under a policy's weights and costs, by the kernels of the nightly run."""
    table = costs(policy)
    odds = kernel.posterior_all(prior, kernel.weigh_all(values, tables(policy)))
    return odds, kernel.cost_all(odds, table, kernel.hold_all(context, rules(policy), table))


def _key(key: str) -> str:
    """The key without the criticality that it holds for."""
    return key.split(".", 2)[2] if key.startswith("criticality.") else key


def _allowed(codes: pd.Series) -> BoolArray:
    """Actions that the guards left [rows, actions]."""
    which, texts = pd.factorize(codes.fillna(""))
    applied = np.array([[code in text.split() for code in TAKES] for text in texts], dtype=np.bool_)
    return np.asarray(guards.allowed(applied.reshape(len(texts), len(TAKES)))[which])
