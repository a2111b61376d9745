"""What past failures say about the policy: a proposed policy file with its reason and figures, or why nothing moves."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from condlube.assessment.greasings import doses
from condlube.backtest.answers import side_by_side
from condlube.backtest.compared import Point, Replayed, Turned, trade_off, turned
from condlube.backtest.grease_life import GreaseLife, fillings, grease_life
from condlube.backtest.matters import positions_of
from condlube.backtest.nulls import number
from condlube.backtest.propose import headed, text_of
from condlube.backtest.scores import RATE, SHARE, Score
from condlube.backtest.trial import Facts
from condlube.backtest.tuning import Compared, Tuned, held_out_calls, tune_weights
from condlube.chain import Plant
from condlube.operations.backtest import SEED, judge_kept, span_of
from condlube.operations.check import check
from condlube.operations.definition import default_policy
from condlube.operations.files import json_text, write_whole
from condlube.operations.replay import OnStep, quiet, replay
from condlube.policy.parse import parse_policy
from condlube.store.store import Store

SHOWN = ("caught", "false inspects", "false greases", "cost")


@dataclass(frozen=True)
class Tuning:
    """What tuning found; ``proposed`` is the policy file it wrote, None where nothing moves.

    ``in_force``, ``tuned`` and ``held_out`` are scores on the replayed nights: of the policy in force, of the proposal
    on the bearings it was fitted to, and of the weights fitted without the bearing that they call for.
    """

    site: str
    first: date
    last: date
    found: Tuned
    in_force: dict[str, Score]
    tuned: dict[str, Score] | None
    held_out: dict[str, Score] | None
    trade_off: list[Point]
    turned: list[Turned]
    life: GreaseLife | None
    proposed: Path | None

    def text(self, width: int) -> str:
        """Why it moves or not, the figures side by side, and what would change."""
        own = {"in force": self.in_force, "tuned": self.tuned, "held out": self.held_out}
        known = {name: scores for name, scores in own.items() if scores is not None}
        figures = [(name, self.in_force[name].unit, [s[name].interval for s in known.values()]) for name in SHOWN]
        curve = [(name, unit, [getattr(point, name.replace(" ", "_")) for point in self.trade_off])
                 for name, unit in (("caught", SHARE), ("false inspects", RATE))]  # fmt: skip
        prices = [f"x{point.factor:g}" for point in self.trade_off]
        return "\n".join([
            *_wrapped(self._found(), width), "", *side_by_side(list(known), figures, width), "",
            "If an inspection cost so many times its price:", *side_by_side(prices, curve, width), "",
            *_wrapped(self._changes(), width),
        ])  # fmt: skip

    def json(self) -> str:
        """The same for a machine."""
        return json_text(self.summary())

    def summary(self) -> dict[str, Any]:
        """The same as mappings."""
        return {
            "site": self.site, "first": self.first, "last": self.last, "episodes": self.found.episodes,
            "moved": list(self.found.moved), "why_not": self.found.why_not,
            "proposed": None if self.proposed is None else str(self.proposed),
            "log_loss": {name: None if c is None else _plain(c) for name, c in self._checks().items()},
            "scores": {
                name: None if own is None else {k: _plain(own[k].interval) for k in SHOWN}
                for name, own in (("in_force", self.in_force), ("tuned", self.tuned), ("held_out", self.held_out))
            },
            "trade_off": [_plain(point) for point in self.trade_off],
            "turned": [turn._asdict() for turn in self.turned],
            "grease_life": None if self.life is None else {k: _plain(v) for k, v in vars(self.life).items()},
        }  # fmt: skip

    def _checks(self) -> dict[str, Compared | None]:
        return {"fitted": self.found.fitted, "by_bearing": self.found.by_bearing, "by_time": self.found.by_time}

    def _found(self) -> Iterator[str]:
        yield f"{self.site}: nights {self.first} to {self.last}"
        on_record = ", ".join(f"{state} {count}" for state, count in self.found.episodes.items() if count)
        yield f"On record: {on_record or 'nothing that tells of a state'}."
        if self.found.why_not:
            yield f"The policy stays as it is: {self.found.why_not}."
        for name, c in self._checks().items():
            if c is not None:
                yield (f"Log loss, {name.replace('_', ' ')}: in force {c.in_force:.4f}, tuned {c.tuned:.4f}, "
                       f"gain {c.gain.value:.4f} ({c.gain.low:.4f} to {c.gain.high:.4f}).")  # fmt: skip

    def _changes(self) -> Iterator[str]:
        yield from _life(self.life)
        if self.proposed is not None:
            yield f"{len(self.turned)} calls of the last night would change:"
            yield from (f"  {t.bearing_id}: {t.before} -> {t.after}" for t in self.turned)
            yield f"Proposed policy: {self.proposed}. It holds once the definition names it."


def _wrapped(said: Iterator[str], width: int) -> Iterator[str]:
    return (textwrap.fill(line, width, subsequent_indent="  ") for line in said)


def tune(path: Path, first: date, last: date, every: int = 1, on_step: OnStep = quiet) -> Tuning:
    """Replay the nights, fit the weights to what the record tells, and write a proposed policy if it may move.

    Arguments and errors as of ``backtest``.
    """
    checked = check(path)
    plant, policy = Plant.of(checked.register), checked.policy
    definition = checked.definition
    snapshot = Store.open(definition.store, definition.ledger).snapshot()
    span = span_of(snapshot, checked, plant, first, last, every)
    decisions, judged = judge_kept(replay(checked, plant, span, policy, snapshot, on_step), plant, snapshot, policy)
    rng = np.random.default_rng(SEED)
    found = tune_weights(judged, decisions, policy, rng)
    facts = Facts(decisions, plant.bearings.set_index("bearing_id")["criticality"], policy)
    dose_g = pd.Series(doses(plant.bearings), index=plant.bearings["bearing_id"]).reindex(list(judged.grid.bearing_ids))
    replayed = Replayed(judged, decisions, dose_g.to_numpy(dtype=np.float64), rng)
    before = positions_of(decisions["call"])
    cost, _ = facts.costs(policy)
    in_force = replayed.scores(before, cost, policy)
    after, tuned, held_out = before, None, None
    if found.folds:
        which = pd.Index(judged.grid.bearing_ids).get_indexer(decisions["bearing_id"]).astype(np.int64)
        held_out = replayed.scores(held_out_calls(found, facts, which, policy), cost, policy)
    moves = found.policy is not policy
    if moves:
        own, after = facts.costs(found.policy)
        tuned = replayed.scores(after, own, policy)
        if held_out is not None and held_out["cost"].interval.low > in_force["cost"].interval.high:
            found = replace(found, policy=policy, why_not="on bearings held out the tuned calls cost more")
            moves, after, tuned = False, before, None
    x = number(judged.grid, decisions, "x")
    made = Tuning(
        definition.site.name, span.nights[0], span.nights[-1], found, in_force, tuned, held_out,
        trade_off(replayed, facts, found.policy), turned(replayed, before, after),
        grease_life(*fillings(judged.grid, x, judged.record), policy),
        definition.output / f"policy-proposed-{span.nights[-1]}.toml" if moves else None,
    )  # fmt: skip
    if made.proposed is not None:
        assert found.by_bearing is not None
        gain = found.by_bearing.gain
        reason = (
            f"weights of {', '.join(found.moved)} fitted to nights {made.first} to {made.last}: log loss on bearings "
            f"held out {found.by_bearing.in_force:.4f} -> {found.by_bearing.tuned:.4f}, gain {gain.value:.4f} "
            f"({gain.low:.4f} to {gain.high:.4f})"
        )
        proposal = headed(found.policy, "condlube tune", reason)
        write_whole(made.proposed, text_of(proposal, parse_policy(default_policy(), "default.toml")))
    write_whole(definition.output / f"tuning-{span.nights[-1]}.json", made.json())
    return made


def _life(life: GreaseLife | None) -> Iterator[str]:
    if life is None:
        yield "Grease life: no filling on record has run out, so the handbook's curve stands unchallenged."
        return
    kept = "the handbook's shape" if life.shape_kept else f"shape {life.shape:.2f}"
    yield (
        f"Grease life: {life.ended} of {life.fillings} fillings ran out; with {kept}, 1 % are gone at {life.l01:.2f} "
        f"of the interval ({life.l01_range[0]:.2f} to {life.l01_range[1]:.2f}) and 10 % at {life.l10:.2f}; the "
        f"handbook says 1.00 and {life.handbook_l10:.2f} (chance of a record as far off: {life.handbook_p:.2g})."
    )


def _plain(value: Any) -> Any:
    if hasattr(value, "_asdict"):
        return {name: _plain(own) for name, own in value._asdict().items()}
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return None if isinstance(value, float) and not isfinite(value) else value
