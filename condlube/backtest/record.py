"""What the record says happened: failures, findings, greasings and how the bearing answered, by bearing and day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.assessment.greasings import told_of
from condlube.backtest.matters import Grid
from condlube.chain import Plant

SENSITIVE = ("ultrasound", "acceleration")
SUPPLY_FINDINGS = ("leak", "water_in_grease", "dirt_in_grease", "hardened_grease", "blocked_path")
"""Findings that tell of grease that does not arrive, is lost, wet or wrong."""


@dataclass(frozen=True)
class Record:
    """Frames with ``which`` (position on the grid) and ``day`` (days since 1970-01-01, site-local), sorted by them.

    ``failures`` carries ``lubrication`` (True, False, or None where nobody said); ``inspections`` ``finding`` (empty
    where nothing was found); ``replacements`` nothing more; ``greasings`` ``grease_g``, ``answer`` (held, returned,
    none, worse, or unknown) and ``quiet`` (a lubrication-sensitive level was assessed as not raised just before).
    """

    failures: pd.DataFrame
    inspections: pd.DataFrame
    replacements: pd.DataFrame
    greasings: pd.DataFrame
    first: int
    last: int


def record_of(
    plant: Plant, events: pd.DataFrame, grid: Grid, answers: pd.DataFrame, raised: Mapping[str, float]
) -> Record:
    """The record of the replayed bearings.

    Parameters
    ----------
    events
        The record as it stands today, corrections in place of what they correct.
    answers
        Columns bearing_id, quantity, night, status, deviation, response, response_to of the table ``deviations``.
    raised
        Deviation (dB) of each lubrication-sensitive quantity from which a level counts as raised.
    """
    ids = pd.DataFrame({"bearing_id": list(grid.bearing_ids)})
    machines = plant.bearings.set_index("bearing_id")["machine_id"]
    ids["machine_id"] = ids["bearing_id"].map(machines)
    told = told_of(ids, events)
    told["day"] = _local_day(told["time"], plant.register.site.zone)
    told = told.sort_values(["which", "time", "event_id"], ignore_index=True)
    told["finding"] = told["finding"].fillna("").replace("none", "")
    failures = told.loc[told["kind"] == "failure", ["which", "day", "finding", "lubrication_related"]]
    greased = (told["kind"] == "relubrication") & ~(told["grease_g"] == 0)
    greasings = told.loc[greased, ["which", "day", "time", "grease_g"]]
    return Record(
        failures=failures.rename(columns={"lubrication_related": "lubrication"}).reset_index(drop=True),
        inspections=told.loc[told["kind"] == "inspection", ["which", "day", "finding"]].reset_index(drop=True),
        replacements=told.loc[told["kind"] == "replacement", ["which", "day"]].reset_index(drop=True),
        greasings=_answered(greasings.reset_index(drop=True), grid, answers, raised),
        first=int(grid.day[0]),
        last=int(grid.day[-1]),
    )


def _answered(greasings: pd.DataFrame, grid: Grid, answers: pd.DataFrame, raised: Mapping[str, float]) -> pd.DataFrame:
    """Greasings with the bearing's answer and whether it had been quiet before."""
    mine = answers[answers["quantity"].isin(SENSITIVE)]
    which = pd.Index(grid.bearing_ids).get_indexer(mine["bearing_id"])
    day = pd.to_datetime(mine["night"]).to_numpy().astype("datetime64[D]").astype(np.int64)
    said = mine["response"].isin(("held", "returned", "none", "worse")).to_numpy()
    last = pd.DataFrame({
        "which": which[said], "time": pd.to_datetime(mine["response_to"], utc=True)[said],
        "answer": mine["response"][said], "night": day[said],
    }).sort_values("night", kind="stable").drop_duplicates(["which", "time"], keep="last")  # fmt: skip
    made = greasings.merge(last[["which", "time", "answer"]], on=["which", "time"], how="left")
    made["answer"] = made["answer"].fillna("unknown")
    sound = (mine["status"] == "assessed").to_numpy()
    limit = np.select(
        [(mine["quantity"] == name).to_numpy() for name in SENSITIVE], [raised[name] for name in SENSITIVE]
    )
    level = mine["deviation"].to_numpy(dtype=np.float64) / limit
    nights = pd.DataFrame({"which": which[sound], "day": day[sound], "level": level[sound]})
    nights = nights.groupby(["which", "day"], as_index=False)["level"].max().sort_values("day", ignore_index=True)
    left = made[["which", "day"]].assign(row=np.arange(len(made)), day=made["day"] - 1).sort_values("day")
    before = pd.merge_asof(left, nights, on="day", by="which", tolerance=7).sort_values("row")
    made["quiet"] = (before["level"] < 1.0).to_numpy(dtype=np.bool_)
    return made.drop(columns="time")


def _local_day(times: pd.Series, zone: ZoneInfo) -> np.ndarray:
    local = times.dt.tz_convert(zone).dt.tz_localize(None)
    return np.asarray(local.to_numpy().astype("datetime64[D]").astype(np.int64))
