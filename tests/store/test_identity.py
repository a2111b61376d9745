from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from condlube.schema.arrow import rows_to_table
from condlube.store.identity import run_id, table_digest, text_digest

AS_OF = datetime(2026, 3, 2, tzinfo=UTC)
KNOWN_BY = datetime(2026, 3, 2, 6, tzinfo=UTC)
SEEN = (AS_OF, KNOWN_BY, "p", "r", "d", "e", 7)


def test_a_run_is_the_same_run_for_the_same_things_seen():
    assert run_id(*SEEN) == run_id(*SEEN)
    assert len(run_id(*SEEN)) == 16
    elsewhere = ZoneInfo("Asia/Tokyo")
    assert run_id(AS_OF.astimezone(elsewhere), KNOWN_BY.astimezone(elsewhere), *SEEN[2:]) == run_id(*SEEN)


def test_each_thing_seen_makes_it_another_run():
    others = [
        (*SEEN[:k], other, *SEEN[k + 1 :])
        for k, other in enumerate([KNOWN_BY, AS_OF, "x", "x", "x", "x", 8])
    ]  # fmt: skip
    swapped = (*SEEN[:2], "r", "p", *SEEN[4:])
    assert len({run_id(*seen) for seen in [SEEN, *others, swapped]}) == 9


def test_instants_need_a_zone():
    with pytest.raises(ValueError, match="time zone"):
        run_id(datetime(2026, 1, 1), *SEEN[1:])  # noqa: DTZ001


def test_the_digest_of_a_text_is_its_sha_256():
    """FIPS 180-4, example of the one-block message "abc"."""
    assert text_digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_digest_of_a_table_depends_on_content_alone():
    rows = [{"event_id": k, "time": AS_OF, "grease_g": 0.1, "note": n} for k, n in (("a", "x"), ("b", None))]
    table = rows_to_table("events", rows)
    digest = table_digest(table)
    assert digest == table_digest(table.take([1, 0])) == table_digest(table.select(table.column_names[::-1]))
    assert digest == table_digest(pa.concat_tables([table.slice(1), table.slice(0, 1)]))
    assert digest != table_digest(rows_to_table("events", [rows[0]]))
    assert digest != table_digest(rows_to_table("events", [rows[0], {**rows[1], "grease_g": 0.1 + 1e-17 + 1e-16}]))
    assert digest != table_digest(rows_to_table("events", [*rows, rows[1]]))


def test_empty_tables_of_different_columns_differ():
    empty = rows_to_table("events", [])
    assert table_digest(empty) != table_digest(empty.drop_columns(["note"]))


def test_dates_and_texts_that_look_alike_do_not_collide_with_nulls():
    dated = pa.table({"d": pa.array([date(2026, 1, 1), None])})
    assert table_digest(dated) != table_digest(pa.table({"d": pa.array([None, None], pa.date32())}))
