"""Large tables as CSV, beside the writer of small ones."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from condlube.operations.big_csv import tables_csv
from condlube.operations.files import csv_text

COLUMNS = ("night", "text", "number", "count", "yes", "when")
ROWS = [
    (date(2026, 5, 30), "=1+1", 0.1, 3, True, datetime(2026, 5, 30, 22, tzinfo=UTC)),
    (date(2026, 5, 31), 'said "no", twice', 1e-12, None, False, datetime(2026, 5, 31, 22, 0, 1, 500000, tzinfo=UTC)),
    (date(2026, 6, 1), "", 1e22, -7, None, None),
    (None, None, None, 0, True, None),
    (date(2026, 6, 2), "-5 °C\nµ", 1 / 3, 2**53, True, datetime(1999, 12, 31, 23, 59, 59, tzinfo=UTC)),
]


def test_the_rows_are_those_of_the_writer_of_small_files(tmp_path):
    columns = [list(column) for column in zip(*ROWS, strict=True)]
    kinds = (pa.date32(), pa.string(), pa.float64(), pa.int64(), pa.bool_(), pa.timestamp("us", "UTC"))
    table = pa.table([pa.array(c, k) for c, k in zip(columns, kinds, strict=True)], names=COLUMNS)
    files = [tmp_path / "a.parquet", tmp_path / "b.parquet"]
    pq.write_table(table.slice(0, 2), files[0])
    pq.write_table(table.slice(2), files[1])
    with tables_csv(tmp_path / "made.csv", COLUMNS) as append:
        for file in files:
            append(file)
    with (tmp_path / "made.csv").open(encoding="utf-8", newline="") as file:
        made = list(csv.reader(file))
    theirs = list(csv.reader(csv_text(COLUMNS, table.to_pylist()).splitlines(keepends=True)))
    assert made[0] == theirs[0]
    for ours, wanted in zip(made[1:], theirs[1:], strict=True):
        assert (ours[2] and float(ours[2])) == (wanted[2] and float(wanted[2]))
        assert [*ours[:2], *ours[3:]] == [*wanted[:2], *wanted[3:]]


def test_of_a_table_that_is_not_whole_nothing_stays(tmp_path):
    (tmp_path / "made.csv").write_text("older", encoding="utf-8")
    with pytest.raises(FileNotFoundError), tables_csv(tmp_path / "made.csv", COLUMNS) as append:
        append(tmp_path / "absent.parquet")
    assert [file.name for file in tmp_path.iterdir()] == ["made.csv"]
    assert (tmp_path / "made.csv").read_text(encoding="utf-8") == "older"


def test_two_that_write_one_file_do_not_meet(tmp_path, monkeypatch):
    pq.write_table(pa.table({"text": ["one"]}), tmp_path / "one.parquet")
    pq.write_table(pa.table({"text": ["two"]}), tmp_path / "two.parquet")
    with tables_csv(tmp_path / "made.csv", ["text"]) as first:
        monkeypatch.setattr("os.getpid", lambda: -1)
        with tables_csv(tmp_path / "made.csv", ["text"]) as second:
            first(tmp_path / "one.parquet")
            second(tmp_path / "two.parquet")
        assert (tmp_path / "made.csv").read_text(encoding="utf-8").split() == ["text", '"two"']
    assert (tmp_path / "made.csv").read_text(encoding="utf-8").split() == ["text", '"one"']
