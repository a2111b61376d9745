"""What past failures say about the policy: a proposed policy file with its reason and figures, or why nothing moves."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np

from condlube.backtest.answers import figure, number, others_cost, side_by_side
from condlube.backtest.grease_life import GreaseLife, fillings, grease_life
from condlube.backtest.judge import DECIDED
from condlube.backtest.nulls import number as on_grid
from condlube.backtest.proposal import Proposal, Scores, propose
from condlube.backtest.propose import headed, text_of
from condlube.backtest.scores import RATE, SHARE
from condlube.backtest.tuning import Compared
from condlube.chain import Plant
from condlube.operations.backtest import SEED, judge_kept, span_of
from condlube.operations.check import check
from condlube.operations.definition import default_policy
from condlube.operations.files import json_text, write_whole
from condlube.operations.replay import OnStep, quiet, replay
from condlube.policy.parse import parse_policy
from condlube.store.store import Store

FAR = 3.0
"""A state that many times more or less often on record than its prior says is worth a word."""
SHOWN = ("caught", "false inspects", "false greases", "cost")


@dataclass(frozen=True)
class Tuning:
    """What tuning found; ``proposed`` is the policy file it wrote, None where nothing moves."""

    site: str
    first: date
    last: date
    proposal: Proposal
    life: GreaseLife | None
    proposed: Path | None

    def text(self, width: int) -> str:
        """Why it moves or not, the figures side by side, and what would change."""
        own = self._scores()
        known = {name: scores for name, scores in own.items() if scores is not None}
        figures = [
            (name, self.proposal.in_force[name].unit, [s[name].interval for s in known.values()]) for name in SHOWN
        ]
        curve = [(name, unit, [getattr(point, name.replace(" ", "_")) for point in self.proposal.trade_off])
                 for name, unit in (("caught", SHARE), ("false inspects", RATE))]  # fmt: skip
        prices = [f"x{point.factor:g}" for point in self.proposal.trade_off]
        return "\n".join([
            *_wrapped(self._found(), width), "", *side_by_side(list(known), figures, width),
            *_wrapped(self._saves(), width), "",
            "If an inspection cost so many times its price:", *side_by_side(prices, curve, width), "",
            *_wrapped(self._changes(), width),
        ])  # fmt: skip

    def json(self) -> str:
        """The same for a machine."""
        return json_text(self.summary())

    def summary(self) -> dict[str, Any]:
        """The same as mappings."""
        return {
            "site": self.site, "first": self.first, "last": self.last, "episodes": self.proposal.found.episodes,
            "moved": self.proposal.moved, "why_not": self.proposal.found.why_not,
            "frequency": self.proposal.found.frequency,
            "proposed": None if self.proposed is None else str(self.proposed),
            "log_loss": {name: None if c is None else _plain(c) for name, c in self._checks().items()},
            "scores": {
                name: None if own is None else {k: _plain(own[k].interval) for k in SHOWN}
                for name, own in self._scores().items()
            },
            "costs_more": {name: _plain(interval) for name, interval in self.proposal.saves.items()},
            "trade_off": [_plain(point) for point in self.proposal.trade_off],
            "turned": [turn._asdict() for turn in self.proposal.turned],
            "grease_life": None if self.life is None else {k: _plain(v) for k, v in vars(self.life).items()},
        }  # fmt: skip

    def _scores(self) -> dict[str, Scores | None]:
        own = self.proposal
        return {"in force": own.in_force, "tuned": own.tuned, "held out": own.held_out}

    def _checks(self) -> dict[str, Compared | None]:
        found = self.proposal.found
        return {"fitted": found.fitted, "by_bearing": found.by_bearing, "by_time": found.by_time}

    def _found(self) -> Iterator[str]:
        yield f"{self.site}: nights {self.first} to {self.last}"
        found, moved = self.proposal.found, self.proposal.moved
        on_record = ", ".join(f"{state} {count}" for state, count in found.episodes.items() if count)
        yield f"On record: {on_record or 'nothing that tells of a state'}."
        if moved:
            yield f"Proposed to move: {', '.join(moved)}."
        if found.why_not:
            yield f"{'The weights stay as they are' if moved else 'The policy stays as it is'}: {found.why_not}."
        for state, times in found.frequency.items():
            if not 1 / FAR < times < FAR:
                yield (f"{state} is on record {number(times)} times as often as its prior says: look at [prior] before "
                       "the bits of levels as expected, which make up for it.")  # fmt: skip
        for name, c in self._checks().items():
            if c is not None:
                yield (f"Log loss, {name.replace('_', ' ')}: in force {c.in_force:.4f}, tuned {c.tuned:.4f}, "
                       f"gain {c.gain.value:.4f} ({c.gain.low:.4f} to {c.gain.high:.4f}).")  # fmt: skip

    def _saves(self) -> Iterator[str]:
        who = "the calls on bearings held out" if self.proposal.held_out else "the policy in force"
        yield f"Cost beside {who}: {others_cost(self.proposal.saves)}"

    def _changes(self) -> Iterator[str]:
        yield from _life(self.life)
        if self.proposed is not None:
            yield f"{len(self.proposal.turned)} calls of the last night would change:"
            yield from (f"  {t.bearing_id}: {t.before} -> {t.after}" for t in self.proposal.turned)
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
    kept = replay(checked, plant, span, policy, snapshot, on_step)
    decisions, judged = judge_kept(kept, plant, snapshot, policy, DECIDED)
    proposal = propose(judged, decisions, plant, policy, np.random.default_rng(SEED))
    made = Tuning(
        definition.site.name, span.nights[0], span.nights[-1], proposal,
        grease_life(*fillings(judged.grid, on_grid(judged.grid, decisions, "x"), judged.record), policy),
        definition.output / f"policy-proposed-{span.nights[-1]}.toml" if proposal.policy is not policy else None,
    )  # fmt: skip
    if made.proposed is not None:
        headed_one = headed(proposal.policy, "condlube tune", _reason(made))
        write_whole(made.proposed, text_of(headed_one, parse_policy(default_policy(), "default.toml")))
    write_whole(definition.output / f"tuning-{span.nights[-1]}.json", made.json())
    return made


def _reason(made: Tuning) -> str:
    """What moved, on what record, and the figures on bearings held out."""
    own, gain = made.proposal, made.proposal.found.by_bearing
    assert own.held_out is not None
    assert gain is not None
    return (
        f"{', '.join(own.moved)} tuned to nights {made.first} to {made.last}; on bearings held out: log loss "
        f"{gain.in_force:.4f} -> {gain.tuned:.4f}, gain {gain.gain.value:.4f} ({gain.gain.low:.4f} to "
        f"{gain.gain.high:.4f}); cost per bearing-year {figure(own.in_force['cost'].interval, '')} -> "
        f"{figure(own.held_out['cost'].interval, '')}"
    )


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
