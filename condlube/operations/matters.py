"""The matters that stand on a night: a finding that lasts is one, with its first night and its state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import pyarrow.compute as pc

from condlube.advisory.matters import Matter, lasting, stated
from condlube.operations.desk import Row, Sight
from condlube.store.rows import rows

LOOKBACK_DAYS = 120
"""No matter is followed further back: an older one seems to begin there."""
_HELD = {"stopped", "deferred"}
_COLUMNS = ("run_id", "bearing_id", "call", "look_at", "second_action", "guards", "reason", "due_date", "due_late")


def standing_matters(sight: Sight) -> dict[str, Matter]:
    """The matter that stands tonight on each bearing, by bearing; several may share one, each with its own last day."""
    own = own_matters(sight)
    found = list(own.values())
    snapshot = sight.snapshot
    events = snapshot.ledger_rows("events", {"bearing_id": list(own)}) if own else []
    reviews = snapshot.ledger_rows("reviews", {"bearing_id": list(own)}) if own else []
    told = stated(found, sight.night, events, reviews, _shared(sight), sight.register.site.zone)
    return {name: replace(matter, by=own[name].by) for matter in told for name in matter.bearing_ids}


def own_matters(sight: Sight) -> dict[str, Matter]:
    """The matter that stands tonight on each bearing, each for itself, whatever was done or said."""
    return {m.bearing_ids[0]: m for m in _nights(sight) if m.last == sight.night}


def work_matters(sight: Sight) -> dict[str, Matter]:
    """The same with the state that what was done or said gave it: first night and last day are the bearing's own."""
    told = standing_matters(sight)
    return {name: replace(own, state=told[name].state) for name, own in own_matters(sight).items() if name in told}


def is_flagged(decision: Row) -> bool:
    """Whether somebody has to do something, or the bearing could not be decided."""
    return decision["call"] != "hold" or bool(decision["second_action"])


def _followed(sight: Sight) -> list[str]:
    """Bearings of the night with something to do, and those held back at standstill or by a deferral."""
    return [b for b, row in sight.decisions.items() if is_flagged(row) or _HELD & set((row["guards"] or "").split())]


def _nights(sight: Sight) -> list[Matter]:
    """Matters by the decisions alone: later commits that bring no run share them."""
    if "matters" not in sight.kept:
        runs = {run["run_id"]: run["night"] for run in sight.runs
                if sight.night - timedelta(days=LOOKBACK_DAYS) <= run["night"] < sight.night}  # fmt: skip
        followed = _followed(sight)
        held: list[Row] = [sight.decisions[b] for b in followed]
        if runs and held:
            window = [("night", ">=", min(runs.values())), ("night", "<=", max(runs.values()))]
            wanted = [*window, ("bearing_id", "in", sorted(followed)), ("run_id", "in", sorted(runs))]
            found = rows(sight.snapshot.read("decisions", _COLUMNS, wanted))
            held += [{**row, "night": runs[row["run_id"]]} for row in found]
        sight.kept["matters"] = lasting(held)
    kept: list[Matter] = sight.kept["matters"]
    return kept


def _shared(sight: Sight) -> Mapping[str, Mapping[str, str]]:
    """Machine of each bearing, and the collector that hears it."""
    if "shared" not in sight.kept:
        points = sight.register.points.filter(pc.is_valid(sight.register.points["collector"]))
        names = zip(*(points[name].to_pylist() for name in ("bearing_id", "collector")), strict=True)
        machines = {b: row["machine_id"] for b, row in sight.bearings.items() if row["machine_id"]}
        sight.kept["shared"] = {"machine": machines, "instrument": {b: c for b, c in names if b}}
    kept: Mapping[str, Mapping[str, str]] = sight.kept["shared"]
    return kept
