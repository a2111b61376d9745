from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pyarrow as pa
import pytest

from condlube.schema.arrow import arrow_schema, coded, conform, from_frame, rows_to_table
from condlube.schema.columns import COLUMNS
from condlube.schema.dictionary import page
from condlube.schema.nights import as_of, midnight, night_of, nights_between
from condlube.schema.tables import TABLES

ROOT = Path(__file__).parents[2]


def test_every_column_is_used_by_some_table():
    used = {name for table in TABLES.values() for name in table.columns}
    assert set(COLUMNS) - used == set()


def test_keys_are_columns_and_columns_do_not_repeat():
    for table in TABLES.values():
        assert set(table.key) <= set(table.columns)
        assert len(table.columns) == len(set(table.columns)), table.name


def test_the_dictionary_page_tells_the_truth():
    assert (ROOT / "docs/nomenclature.md").read_text(encoding="utf-8") == page()


def test_rows_with_unknown_columns_are_refused():
    with pytest.raises(KeyError, match="colour"):
        rows_to_table("points", [{"point_id": "a", "colour": "red"}])


def test_conform_orders_and_fills():
    made = conform("readings", pa.table({"value": [1.0], "point_id": ["a"]}))
    assert made.schema == arrow_schema("readings")
    assert made["quality"].null_count == 1


@pytest.mark.parametrize(("night", "hours"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-07-01", 24)])
def test_a_night_has_23_24_or_25_hours(night, hours):
    """Daylight saving of the IANA zone Europe/Lisbon: last Sundays of March and October."""
    zone, day = ZoneInfo("Europe/Lisbon"), date.fromisoformat(night)
    assert as_of(day, zone) - midnight(day, zone) == timedelta(hours=hours)


def test_night_of_is_the_last_night_that_has_ended():
    zone = ZoneInfo("Asia/Tokyo")
    assert night_of(datetime(2026, 1, 1, 14, 59, tzinfo=UTC), zone) == date(2025, 12, 31)
    assert night_of(datetime(2026, 1, 1, 15, 0, tzinfo=UTC), zone) == date(2026, 1, 1)


def test_nights_between_holds_both_ends():
    assert nights_between(date(2026, 2, 27), date(2026, 3, 1)) == [
        date(2026, 2, 27), date(2026, 2, 28), date(2026, 3, 1),
    ]  # fmt: skip


@pytest.mark.parametrize("parts", [[], [[None]], [["P2", "P1", None], ["P3", "P1"]]])
def test_coded_words_are_the_words_and_stand_in_their_order(parts):
    words = pa.chunked_array(parts, pa.string())
    made = coded(words)
    assert made.cast(pa.string()).to_pylist() == words.to_pylist()
    assert made.dictionary.to_pylist() == sorted({word for word in words.to_pylist() if word})


def test_categories_are_written_as_the_words_that_they_are():
    frame = pd.DataFrame({
        "point_id": pd.Categorical.from_codes([1, 0, 1], ["P1", "P2"]), "status": pd.Categorical(["faulty", None, ""]),
        "unit": pd.Categorical([None] * 3), "share": [0.5, None, 1.0],
    })  # fmt: skip
    made = from_frame("deviations", frame)
    assert made.schema == arrow_schema("deviations")
    found = made.select(["point_id", "status", "unit", "share", "reason"]).to_pydict()
    assert found == {
        "point_id": ["P2", "P1", "P2"], "status": ["faulty", None, ""], "unit": [None] * 3, "share": [0.5, None, 1.0],
        "reason": [None] * 3,
    }  # fmt: skip
