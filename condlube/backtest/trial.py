"""Another policy's calls from replayed decisions, without replaying: what was weighed stays, the weighing is redone.

Exact for weights, costs, ``early_rise`` and ``extension_cap`` as long as the same point speaks for each quantity; what
an inspection without finding had seen stays as the replayed policy weighed it. Priors, other guards and what counts as
a change need a replay.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.cost import cheapest, drier, grease_pays
from condlube.advisory.guard_codes import ASKED, TAKES
from condlube.advisory.guards import FACTS
from condlube.assessment import kernel
from condlube.assessment.evidence import acceleration_alone
from condlube.assessment.priors import LONG_AGO
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import POSITION, QUIET_DB, FloatArray, IntArray, tables
from condlube.backtest.replay import VALUES
from condlube.errors import InvalidArgument
from condlube.lubrication.result import BoolArray
from condlube.policy.diff import differences
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

TRIED = ("weights.", "cost.", "policy.", "guard.early_rise.", "guard.extension_cap.")
"""What a trial can change."""
ROWS = 100_000
_SENSITIVE = ("ultrasound", "acceleration")
_CAP, _INVERTER, _SUPPLY = (FACTS.index(name) for name in ("fact_cap", "fact_inverter", "fact_supply"))
_PRIORS = [f"prior_{state}" for state in STATES]


class Facts:
    """What a trial needs of replayed decisions: priors, values weighed, context and what the guards left."""

    def __init__(self, decisions: pd.DataFrame, criticality: pd.Series, base: Policy) -> None:
        """``criticality`` of each bearing by bearing_id; ``base`` is the policy that was replayed."""
        self.base = base
        self.prior: FloatArray = np.ascontiguousarray(decisions[_PRIORS].to_numpy(dtype=np.float64))
        self.values: FloatArray = np.ascontiguousarray(decisions[list(VALUES)].to_numpy(dtype=np.float64))
        self.days: FloatArray = np.nan_to_num(decisions["days_since_greasing"].to_numpy(dtype=np.float64), nan=LONG_AGO)
        self.x: FloatArray = decisions["x"].to_numpy(dtype=np.float64, na_value=np.nan)
        self.facts: FloatArray = decisions[list(FACTS)].to_numpy(dtype=np.float64)
        which, texts = pd.factorize(decisions["guards"].fillna(""))
        codes = np.array([[code in text.split() for code in TAKES] for text in texts], dtype=np.bool_)
        self.applied: BoolArray = codes.reshape(len(texts), len(TAKES))[which]
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
            raise InvalidArgument("policy", ", ".join(other), "changes that a trial can judge; these need a replay")
        cost = np.full((len(self.prior), len(ACTIONS)), np.nan)
        allowed = np.zeros(cost.shape, dtype=np.bool_)
        for at, own, base in self._groups(policy):
            values = self.values[at]
            if own.guard.early_rise != base.guard.early_rise:
                values = self._electrical(at, own)
            odds, cost[at] = assess(self.prior[at], values, self._context(at, base), own)
            allowed[at] = guards.allowed(self._applied(at, odds, cost[at], own, base))
        call = np.where(self.decided, cheapest(cost, allowed), -1)
        return cost, call

    def _applied(self, at: IntArray, odds: FloatArray, cost: FloatArray, own: Policy, base: Policy) -> BoolArray:
        """The guards that apply, with those asked again whose parameters differ or that hang on odds and costs."""
        applied = self.applied[at]
        code = {name: k for k, name in enumerate(TAKES)}
        put_off = applied[:, [code[name] for name in ASKED]].any(axis=1) & ~applied[:, code["absolute_limit"]]
        nights, cap = dict(zip(_SENSITIVE, self.facts[at].T, strict=False)), self.facts[at, _CAP]
        known = ~np.isnan(self.facts[at, _INVERTER]) & ~put_off
        if own.guard.early_rise != base.guard.early_rise:
            p = own.guard.early_rise
            risen = [(self.values[at, POSITION[s]] >= p.over_db) & (nights[s] >= p.sound_readings) for s in _SENSITIVE]
            applied[known, code["early_rise"]] = np.logical_or.reduce(risen)[known]
        tells = drier(odds, own) & ~acceleration_alone(self.values[at])
        unlike = guards.not_dry(applied[:, code["early_rise"]], grease_pays(cost), tells, self.x[at])
        applied[known, code["not_dryness"]] = unlike[known]
        if own.guard.extension_cap != base.guard.extension_cap:
            c = own.guard.extension_cap
            holds = np.array([c.x_watched, c.x_moderate, c.x_severe])[np.nan_to_num(cap, nan=2).astype(np.int64)]
            applied[known, code["extension_cap"]] = (~np.isnan(cap) & (self.x[at] > holds))[known]
        return applied

    def _electrical(self, at: IntArray, own: Policy) -> FloatArray:
        """The values with the electrical pattern read by another level of a clear rise."""
        values = self.values[at].copy()
        ultrasound, acceleration = (values[:, POSITION[s]] for s in _SENSITIVE)
        known = ~np.isnan(self.facts[at, _INVERTER])
        said = (
            (self.facts[at, _INVERTER] == 1) & (acceleration >= own.guard.early_rise.over_db) & (ultrasound < QUIET_DB)
        )
        values[known, POSITION["electrical"]] = np.where(said, 0.0, np.nan)[known]
        return values

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
        alike = prior["machine_fault"] / max(base.prior.machine_fault, kernel.LEAST)  # of a night decided alone
        column["supply_factor"][:] = np.where(np.isnan(self.facts[at, _SUPPLY]), alike, self.facts[at, _SUPPLY])
        column["days"][:] = self.days[at]
        return made


def assess(prior: FloatArray, values: FloatArray, context: FloatArray, policy: Policy) -> tuple[FloatArray, FloatArray]:
    """Posterior and expected costs under a policy's weights and costs, by the kernels of the nightly run."""
    table = costs(policy)
    odds = kernel.weighed_all(prior, values, tables(policy))
    return odds, kernel.cost_all(odds, table, kernel.hold_all(context, rules(policy), table))


def _key(key: str) -> str:
    """The key without the criticality that it holds for."""
    return key.split(".", 2)[2] if key.startswith("criticality.") else key
