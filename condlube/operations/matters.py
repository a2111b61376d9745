"""Matters: a finding that lasts is one matter with its first night, not a new line every morning."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from condlube.operations.desk import Sight

LOOKBACK_DAYS = 120
Finding = tuple[str, str]


def first_nights(sight: Sight, bearing_ids: Iterable[str]) -> dict[str, date]:
    """First of the decided nights, without a break up to tonight, on which the call and what to look at were the same.

    Looks back no further than ``LOOKBACK_DAYS``: an older matter seems to begin there.
    """
    tonight = {b: finding(sight.decisions[b]) for b in bearing_ids}
    earliest = sight.night - timedelta(days=LOOKBACK_DAYS)
    runs = [run for run in sight.runs[:-1] if run["night"] >= earliest]
    first: dict[str, date] = dict.fromkeys(tonight, sight.night)
    if not runs or not tonight:
        return first
    found = sight.snapshot.read(
        "decisions",
        ["run_id", "bearing_id", "call", "look_at"],
        [("night", ">=", runs[0]["night"]), ("night", "<=", runs[-1]["night"]), ("bearing_id", "in", sorted(tonight)),
         ("run_id", "in", [run["run_id"] for run in runs])],
    )  # fmt: skip
    by_run: dict[str, dict[str, Finding]] = {}
    columns = (found[name].to_pylist() for name in ("run_id", "bearing_id", "call", "look_at"))
    for run_id, bearing_id, call, look_at in zip(*columns, strict=True):
        by_run.setdefault(run_id, {})[bearing_id] = (call or "", look_at or "")
    lasting = set(tonight)
    for run in reversed(runs):
        held = by_run.get(run["run_id"], {})
        lasting = {b for b in lasting if held.get(b) == tonight[b]}
        if not lasting:
            break
        night: date = run["night"]
        first.update(dict.fromkeys(lasting, night))
    return first


def finding(decision: dict[str, object]) -> Finding:
    """What makes two nights' decisions the same matter."""
    return str(decision["call"] or ""), str(decision["look_at"] or "")
