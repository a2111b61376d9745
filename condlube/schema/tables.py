"""Every table: where it lives, its key and its columns."""

from __future__ import annotations

from dataclasses import dataclass

from condlube.schema import words
from condlube.schema.columns import COLUMNS, Column


@dataclass(frozen=True)
class Table:
    """One table. ``home`` is delta, ledger, register (CSV, kept whole in the ledger) or chain (never stored)."""

    name: str
    home: str
    key: tuple[str, ...]
    columns: tuple[str, ...]
    meaning: str

    def __iter__(self):  # type: ignore[no-untyped-def]
        return (COLUMNS[name] for name in self.columns)

    def column(self, name: str) -> Column:
        if name not in self.columns:
            raise KeyError(f"{self.name} has no column {name}")
        return COLUMNS[name]


def _table(name: str, home: str, key: str, columns: str, meaning: str) -> Table:
    table = Table(name, home, tuple(key.split()), tuple(columns.split()), meaning)
    for column in table.columns:
        COLUMNS[column]
    if missing := set(table.key) - set(table.columns):
        raise ValueError(f"{name}: key columns {missing} are not columns")
    return table


def _each(prefix: str, names: tuple[str, ...]) -> str:
    return " ".join(prefix + name for name in names)


_ALL = (
    _table(
        "bearings", "register", "bearing_id",
        "bearing_id site area route machine_id machine_kind position designation bearing_type bore_mm "
        "outside_diameter_mm width_mm mass_kg dynamic_rating_n seal shield_side effective_seal supply relief entry "
        "fitting_access remote_line_m cavity_shared_with speed_rpm speed_min_rpm running_share drive orientation "
        "rotating_ring load_ratio contamination moisture outdoors hazardous_area grease_in_service grease_assigned "
        "manual_interval_h manual_interval_basis manual_reference_degc manual_quantity_g gun_g_per_stroke alarm_degc "
        "trip_degc housing_to_ring_k housing_degc power_kw support criticality commissioned mounted history_known "
        "defaults_used",
        "the grease-lubricated bearings; only id, designation (or type and dimensions) and speed are needed",
    ),
    _table(
        "greases", "register", "grease_id",
        "grease_id thickener base_oil viscosity_40_mm2_s viscosity_100_mm2_s nlgi temperature_min_degc "
        "temperature_max_degc extreme_pressure din_code iso_code note",
        "the greases of the plant",
    ),
    _table(
        "points", "register", "point_id",
        "point_id bearing_id machine_id tag quantity unit sampling collector full_scale valid_from valid_to",
        "the measuring points; a point with neither bearing nor machine is plant-wide (ambient)",
    ),
    _table(
        "events", "ledger", "event_id",
        "event_id time kind bearing_id machine_id point_id grease_g grease_id level_before level_after outlet_open "
        "purge finding failure_mode lubrication_related who note supersedes known_at",
        "what people did and found; append-only, corrections supersede",
    ),
    _table("readings", "delta", "point_id time ingest_id", "point_id time value quality known_at ingest_id",
           "readings in canonical units"),
    _table("rejects", "delta", "ingest_id line field", "ingest_id source file line field reason raw repeats known_at",
           "lines that could not be stored, with the reason"),
    _table("remarks", "ledger", "ingest_id line", "ingest_id line point_id time who note known_at",
           "what people wrote beside a route reading"),
    _table(
        "ingests", "ledger", "ingest_id",
        "ingest_id source file digest lines stored duplicate rejected first last known_at counts commit_id "
        "committed_at",
        "files taken in: lines = stored + duplicate + rejected",
    ),
    _table(
        "summaries", "delta", "point_id date cell known_at",
        "point_id date cell known_at n n_total running_h median spread p10 p90 octiles coverage fault speed_rpm load "
        "ambient_degc speed_lagged_rpm load_lagged ambient_lagged_degc starts last_value last_time",
        "one row per point, day and operating cell; at most eight speed cells a day, plus cell -1",
    ),
    _table(
        "expected", "delta", "point_id reference_from known_at",
        "point_id reference_from reference_until reference_state known_at coefficients knots covariance operating_low "
        "operating_high reference_spread autocorrelation nights n family family_weight parent taken_off began ended "
        "onset share",
        "the expected-level models: one row per reference period and state",
    ),
    _table(
        "deviations", "chain", "point_id night",
        "point_id bearing_id quantity night status reason observed expected unit deviation deviation_sd "
        "reference_spread growth onset onset_date slope slope_low slope_high chart share response response_to "
        "level_now level_time sound_nights nights_over lately before_greasing at_inspection faulty_share coverage "
        "window_from window_to reference_from",
        "how each point departs from its expected level on a night",
    ),
    _table(
        "decisions", "delta", "run_id bearing_id",
        "run_id night bearing_id call second_action look_at basis guards cost_call reason "
        + _each("p_", words.STATES) + " " + _each("prior_", words.STATES) + " " + _each("cost_", words.ACTIONS)
        + " margin x interval_h interval_method due_date due_early due_late grease_id grease_g strokes "
        "condition_status defaults_used last_greased days_since_greasing dose_ratio failed",
        "one row per run and bearing",
    ),
    _table(
        "evidence", "delta", "run_id bearing_id ordinal",
        "run_id night bearing_id ordinal source point_id status deviation observed expected unit window_from window_to "
        "coverage " + _each("bits_", words.STATES[1:]) + " reason policy_key",
        "row 0 is the prior, then one row per source; the bits add up to the posterior log-odds",
    ),
    _table("policies", "ledger", "digest", "digest text author reason committed_at", "policies that runs used"),
    _table("registers", "ledger", "digest", "digest text committed_at", "registers that runs used"),
    _table("definitions", "ledger", "digest", "digest text committed_at", "definitions that runs used"),
    _table(
        "runs", "ledger", "run_id",
        "run_id night as_of known_by policy_digest register_digest definition_digest events_digest versions "
        "package_version counts run_status supersedes commit_id committed_at",
        "nightly runs",
    ),
    _table(
        "reviews", "ledger", "review_id",
        "review_id run_id night bearing_id who time verdict call defer_until reason note last_review_seen known_at",
        "analysts' verdicts; append-only",
    ),
    _table("commits", "ledger", "commit_id", "commit_id source versions schema_version committed_at",
           "what is valid: the Delta version of every table at each commit"),
    _table("stores", "ledger", "store_id", "store_id", "the one store that this ledger belongs to"),
)  # fmt: skip

TABLES: dict[str, Table] = {table.name: table for table in _ALL}
