"""The matters that stand on a night: a finding that lasts is one, with its first night and its state."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import timedelta
from typing import Any

import pyarrow.compute as pc

from condlube.advisory.matters import Matter, lasting, stated
from condlube.operations.desk import Sight
from condlube.store.rows import rows

LOOKBACK_DAYS = 120
"""No matter is followed further back: an older one seems to begin there."""
_COLUMNS = ("run_id", "bearing_id", "call", "look_at", "second_action", "guards", "reason", "due_date", "due_late")


def standing_matters(sight: Sight, bearing_ids: Collection[str]) -> dict[str, Matter]:
    """The matter that stands tonight on each of the bearings, by bearing; several bearings may share one."""
    found = [m for m in _nights(sight, bearing_ids) if m.last == sight.night]
    named = [name for matter in found for name in matter.bearing_ids]
    snapshot = sight.snapshot
    events = snapshot.ledger_rows("events", {"bearing_id": named}) if named else []
    reviews = snapshot.ledger_rows("reviews", {"bearing_id": named}) if named else []
    told = stated(found, sight.night, events, reviews, _shared(sight), sight.register.site.zone)
    return {name: matter for matter in told for name in matter.bearing_ids}


def own_matters(sight: Sight, bearing_ids: Collection[str]) -> dict[str, Matter]:
    """The matter that stands tonight on each of the bearings, each for itself, whatever was done or said."""
    return {m.bearing_ids[0]: m for m in _nights(sight, bearing_ids) if m.last == sight.night}


def _nights(sight: Sight, bearing_ids: Collection[str]) -> list[Matter]:
    """Matters by the decisions alone: later commits that bring no run share them."""
    if "matters" not in sight.kept:
        runs = {run["run_id"]: run["night"] for run in sight.runs
                if sight.night - timedelta(days=LOOKBACK_DAYS) <= run["night"] < sight.night}  # fmt: skip
        held: list[Mapping[str, Any]] = [sight.decisions[b] for b in bearing_ids]
        if runs and held:
            window = [("night", ">=", min(runs.values())), ("night", "<=", max(runs.values()))]
            wanted = [*window, ("bearing_id", "in", sorted(bearing_ids)), ("run_id", "in", sorted(runs))]
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
