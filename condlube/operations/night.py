"""One night: measure, compare, decide, commit."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from importlib.metadata import version
from typing import Any

import pandas as pd
import pyarrow as pa

from condlube.chain import Bearings, Plant, compare, turns
from condlube.detection.references import lookback
from condlube.detection.visible import visible_expected
from condlube.errors import CondlubeError
from condlube.execution import map_batches
from condlube.operations.check import Checked
from condlube.operations.decide import decide_batch
from condlube.operations.measure import Fresh, machines_of_points, summarise_fresh
from condlube.operations.night_summaries import night_summaries
from condlube.policy.model import Policy
from condlube.register.canonical import dump
from condlube.schema.arrow import conform, from_frame
from condlube.schema.nights import as_of, night_of
from condlube.store import views
from condlube.store.identity import run_id, table_digest, text_digest
from condlube.store.store import Snapshot, Writer

_REFERENCE_KEY = ["point_id", "reference_from", "reference_state"]


@dataclass(frozen=True)
class NightRun:
    """One decided night; ``new`` is false where the same run had been made before."""

    night: date
    run_id: str
    as_of: datetime
    known_by: datetime
    new: bool


def run_night(writer: Writer, checked: Checked, plant: Plant, night: date, now: datetime, force: bool) -> NightRun:
    """Decide one night from what the store holds, and commit it as one run."""
    snapshot = writer.snapshot()
    zone = plant.register.site.zone
    end = as_of(night, zone)
    known_by = views.newest_known(snapshot)
    if known_by is None:
        raise CondlubeError("the store holds no reading, event or review yet: there is nothing to decide from")
    events = views.events_visible(snapshot, end, known_by)
    row = _run_row(checked, plant, night, end, known_by, events, snapshot)
    earlier = snapshot.ledger_rows("runs")
    again = any(run["run_id"] == row["run_id"] for run in earlier)
    if again and not force:
        return NightRun(night, str(row["run_id"]), end, known_by, new=False)

    definition, policy = checked.definition, checked.policy
    summaries = summarise_fresh(
        snapshot, plant, _fresh(snapshot, earlier, night, plant), known_by, policy, definition.workers, definition.batch
    )
    expected = views.expected(snapshot, known_by).to_pandas()
    first = lookback(visible_expected(expected, end, known_by), end, zone, policy)
    frame = events.to_pandas()
    seen, usage = night_summaries(snapshot, summaries, plant, frame, first, night, known_by)
    learned, deviations = compare(plant, seen, expected, frame, night, end, known_by, policy)
    reviews = views.reviews_visible(snapshot, known_by).to_pandas()
    step = partial(decide_batch, plant=plant, events=frame, reviews=reviews, policy=policy, as_of=end)
    batches = _batches(plant, policy, deviations, usage, definition.batch)
    parts = list(map_batches(step, batches, definition.workers))
    decisions, evidence = (pa.concat_tables(tables) for tables in zip(*parts, strict=True))

    writer.append("summaries", summaries)
    writer.append("expected", _unknown(learned, expected))
    put = partial(writer.replace, key="run_id") if again else writer.append
    put("decisions", _stamped(decisions, "decisions", row["run_id"]))
    put("evidence", _stamped(evidence, "evidence", row["run_id"]))
    row["counts"] = json.dumps(Counter(call or "failed" for call in decisions["call"].to_pylist()), sort_keys=True)
    others = [run for run in earlier if run["night"] == night and run["run_id"] != row["run_id"]]
    row["supersedes"] = others[-1]["run_id"] if others else None
    writer.commit(f"night {night}", now, {"runs": [row], **_texts(checked, plant)})
    return NightRun(night, str(row["run_id"]), end, known_by, new=True)


def _run_row(
    checked: Checked, plant: Plant, night: date, end: datetime, known_by: datetime, events: pa.Table, snapshot: Snapshot
) -> dict[str, Any]:
    reviews = views.reviews_visible(snapshot, known_by)
    seen = {
        "policy_digest": checked.policy.digest,
        "register_digest": plant.register.digest,
        "definition_digest": checked.definition.digest,
        "events_digest": text_digest(table_digest(events) + table_digest(reviews)),
    }
    return {
        "run_id": run_id(end, known_by, **seen, readings_version=snapshot.readings_version()),
        "night": night,
        "as_of": end,
        "known_by": known_by,
        **seen,
        "versions": json.dumps(dict(snapshot.versions), sort_keys=True),
        "package_version": version("condlube"),
        "run_status": "complete",
    }


def _fresh(snapshot: Snapshot, runs: Sequence[dict[str, Any]], night: date, plant: Plant) -> Fresh:
    """What came since the newest run, and the days after the last night that was summarised."""
    last_commit = max((run["commit_id"] for run in runs), default=0)
    previous = max((run["night"] for run in runs), default=None)
    ingests = snapshot.ledger_rows("ingests")
    new = [row for row in ingests if row["commit_id"] > last_commit]
    instants = [row["first"] for row in new if row["first"] is not None]
    zone = plant.register.site.zone
    begins = [night_of(t, zone) + timedelta(days=1) for t in instants]
    begins.append(night if previous is None else min(night, previous + timedelta(days=1)))
    return Fresh(frozenset(row["ingest_id"] for row in new), previous, min(begins), night)


def _batches(
    plant: Plant, policy: Policy, deviations: pd.DataFrame, usage: pd.DataFrame, size: int
) -> Iterator[Bearings]:
    """Machines in batches of ``size``, each with what concerns its bearings."""
    bearings = turns(plant, policy)
    machine_of = machines_of_points(plant.points, plant.bearings)
    of_deviation, of_usage = deviations["point_id"].map(machine_of), usage["point_id"].map(machine_of)
    of_point = plant.points["point_id"].map(machine_of)
    machines = plant.bearings["machine_id"].drop_duplicates().sort_values().to_list()
    for start in range(0, len(machines), size):
        ours = set(machines[start : start + size])
        yield Bearings(
            bearings[bearings["machine_id"].isin(ours)].reset_index(drop=True),
            plant.points[of_point.isin(ours)].reset_index(drop=True),
            deviations[of_deviation.isin(ours)].reset_index(drop=True),
            usage[of_usage.isin(ours)].reset_index(drop=True),
        )


def _unknown(learned: pd.DataFrame, expected: pd.DataFrame) -> pa.Table:
    """Learned rows that are not stored yet: an old night run again learns what it learned before."""
    stored = pd.MultiIndex.from_frame(expected[_REFERENCE_KEY])
    new = learned[~pd.MultiIndex.from_frame(learned[_REFERENCE_KEY]).isin(stored)]
    return from_frame("expected", new)


def _stamped(table: pa.Table, name: str, run: object) -> pa.Table:
    made = table.set_column(0, "run_id", pa.array([run] * table.num_rows, pa.string()))
    return conform(name, made)


def _texts(checked: Checked, plant: Plant) -> dict[str, list[dict[str, Any]]]:
    policy, register = checked.policy, plant.register
    return {
        "policies": [
            {
                "digest": policy.digest,
                "text": policy.text,
                "author": policy.policy.author,
                "reason": policy.policy.reason,
            }
        ],
        "registers": [{"digest": register.digest, "text": dump(register)}],
        "definitions": [{"digest": checked.definition.digest, "text": checked.definition.text}],
    }
