from __future__ import annotations

import csv
import io
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest

from condlube.simulation import dirt
from condlube.simulation.exports import Export, as_exported, local_text, long_table, months, utc_text, wide_table
from condlube.simulation.timeline import Timeline
from condlube.units import linear

POINT = {"quantity": "temperature", "unit": "degC"}


def autumn() -> Timeline:
    return Timeline.of(date(2026, 10, 24), date(2026, 11, 1), ZoneInfo("Europe/Madrid"))


def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def small(rows: int = 400) -> pa.Table:
    return pa.table(
        {
            "timestamp": [f"t{k}" for k in range(rows)],
            "tag": ["A"] * rows,
            "value": [str(k) for k in range(rows)],
            "quality": ["Good"] * rows,
        },
        schema=pa.schema([(name, pa.string()) for name in ("timestamp", "tag", "value", "quality")]),
    )


@pytest.mark.parametrize(
    ("quantity", "unit", "value"),
    [
        ("temperature", "degF", 61.3),
        ("velocity", "in/s peak", 2.84),
        ("acceleration", "m/s2 rms", 0.812),
        ("speed", "Hz", 1480.2),
        ("ultrasound", "dB", 31.4),
    ],
)
def test_exported_in_its_unit_and_back(quantity: str, unit: str, value: float):
    text = as_exported(np.array([value, np.nan]), {"quantity": quantity, "unit": unit}).to_pylist()
    factor, offset = linear(quantity, unit)
    assert float(text[0]) * factor + offset == pytest.approx(value, rel=2e-3)
    assert text[1] is None


def test_long_goes_hour_by_hour_and_leaves_out_what_is_missing():
    columns = [as_exported(np.array([1.0, 2.0]), POINT), as_exported(np.array([np.nan, 4.0]), POINT)]
    table = long_table(utc_text(autumn())[:2], ["A", "B"], columns)
    assert table["tag"].to_pylist() == ["A", "A", "B"]
    assert table["value"].to_pylist() == ["1", "2", "4"]
    assert table["timestamp"].to_pylist()[0] == "2026-10-23T22:00:00Z"


def test_wide_has_a_decimal_comma_and_empty_cells():
    table = wide_table(np.array(["x", "y"]), ["A"], [as_exported(np.array([1.5, np.nan]), POINT)])
    assert Export("a.csv", table, ";").data().decode() == "Time;A\nx;1,5\ny;\n"


def test_local_hours_read_the_same_twice_in_autumn():
    text = local_text(autumn(), "%d.%m.%Y %H:%M")
    assert (text == "25.10.2026 02:00").sum() == 2


def test_a_broken_off_copy_lacks_its_end():
    whole, cut = Export("a.csv", small()).data(), Export("a.csv", small(), cut=7).data()
    assert whole == cut + whole[-7:]
    assert whole.endswith(b"\n")


def test_months_share_out_every_hour():
    parts = months(autumn())
    assert [name for name, _ in parts] == ["2026-10", "2026-11"]
    assert np.concatenate([hours for _, hours in parts]).tolist() == list(range(autumn().n))


def test_csv_reads_back():
    rows = list(csv.reader(io.StringIO(Export("a.csv", small(5)).data().decode())))
    assert rows[0] == ["timestamp", "tag", "value", "quality"]
    assert rows[-1] == ["t4", "A", "4", "Good"]


def test_bad_quality_marks_but_keeps_the_lines():
    table = dirt.bad_quality(rng(), small(), 0.1)
    counts = {word: table["quality"].to_pylist().count(word) for word in ("Good", "Questionable", "Bad", "Comm Fail")}
    assert sum(counts.values()) == 400
    assert min(counts.values()) > 20
    assert table["value"].equals(small()["value"])


def test_numbers_stand_for_words():
    table = small(4).set_column(3, "quality", pa.array(["Good", "Questionable", "Bad", "Comm Fail"]))
    # OPC DA quality: 192 good, 64 uncertain, 0 bad, 24 communication failure
    assert dirt.numbers_for_words(table)["quality"].to_pylist() == ["192", "64", "0", "24"]


def test_text_in_cells():
    table = dirt.text_in_cells(rng(), small(), ["value"], 0.1)
    words = [v for v in table["value"].to_pylist() if v in dirt.BAD_TEXTS]
    assert 20 < len(words) < 60
    assert set(words) == set(dirt.BAD_TEXTS)


def test_gaps_are_empty_cells():
    assert dirt.gaps(rng(), small(), ["value"], 5.0)["value"].null_count > 5
    assert dirt.gaps(rng(), small(), ["value"], 0.0).equals(small())


def test_duplicated_repeats_lines():
    table = dirt.duplicated(rng(), small(), 30)
    assert table.num_rows == 430
    assert set(table["value"].to_pylist()) == set(small()["value"].to_pylist())


def test_out_of_order_loses_nothing():
    values = dirt.out_of_order(rng(), small(), 4, 20)["value"].to_pylist()
    assert values != small()["value"].to_pylist()
    assert sorted(values) == sorted(small()["value"].to_pylist())


def test_late_lines_come_with_the_next_file():
    first, second = small().slice(0, 200), small().slice(200)
    kept, following = dirt.late(rng(), first, second, 15)
    assert (kept.num_rows, following.num_rows) == (185, 215)
    assert sorted(pa.concat_tables([kept, following])["value"].to_pylist()) == sorted(small()["value"].to_pylist())


def test_overlap_and_unknown_tag():
    table = dirt.overlapping(small().slice(0, 200), small().slice(200), 10)
    assert table["value"].to_pylist()[-10:] == [str(k) for k in range(200, 210)]
    assert dirt.unknown_tag(rng(), small(), "SPARE", 5)["tag"].to_pylist()[-5:] == ["SPARE"] * 5


@pytest.mark.parametrize("rows", [0, 1])
def test_dirt_on_next_to_nothing(rows: int):
    table = small(rows)
    for made in (
        dirt.bad_quality(rng(), table, 0.1),
        dirt.duplicated(rng(), table, 60),
        dirt.out_of_order(rng(), table, 4, 100),
        dirt.gaps(rng(), table, ["value"], 2.0),
        dirt.unknown_tag(rng(), table, "SPARE", 5),
    ):
        assert set(made.column_names) == set(table.column_names)
        assert made.num_rows >= rows
