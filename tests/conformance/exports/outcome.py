"""The outcome of every line of one case, as a table that can be read: `python outcome.py CASE` prints it.

A case is a source definition (`NAME.toml`), the export that its `files` names, and what is to become of every line
(`NAME.expected`). Points are in `points.csv`, the site is in Berlin, and it is noon of 15 November 2026.
"""

from __future__ import annotations

import csv
import sys
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pyarrow as pa

from condlube.acquisition.blocks import Export, Unreadable, exports_in
from condlube.acquisition.definition import SourceDefinition, parse_source
from condlube.acquisition.duplicates import settle
from condlube.acquisition.normalise import instant_of
from condlube.acquisition.read import look_again, read
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.stage import Stage
from condlube.acquisition.tags import index_tags
from condlube.errors import ConfigurationError
from condlube.schema.arrow import rows_to_table
from condlube.schema.words import QUALITIES

HERE = Path(__file__).parent
NOW = datetime(2026, 11, 15, 12, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Berlin")


def points() -> pa.Table:
    with (HERE / "points.csv").open(encoding="utf-8", newline="") as file:
        rows = [{k: v or None for k, v in row.items()} for row in csv.DictReader(file)]
    dates = ("valid_from", "valid_to")
    return rows_to_table(
        "points", [{k: date.fromisoformat(v) if v and k in dates else v for k, v in row.items()} for row in rows]
    )


def outcome(case: Path) -> str:
    """What becomes of every line; raises AssertionError where a line is lost or counted twice."""
    try:
        source = parse_source(case.read_text(encoding="utf-8"), case.name)
    except ConfigurationError as error:
        return f"{error}\n"
    texts = []
    for path in sorted(case.parent.glob(source.files)):
        try:
            exports = exports_in(path)
        except Unreadable as error:
            return f"refused: {error}\n"
        for export in exports:
            title = f"{export.member}:\n" if export.member else ""
            try:
                texts.append(title + _of_export(export, source))
            except Unreadable as error:
                texts.append(f"{title}refused: {error}\n")
    return "\n".join(texts)


def _of_export(export: Export, source: SourceDefinition) -> str:
    table = points()
    ids = table["point_id"].to_pylist()
    with Stage(table.num_rows) as stage, closing(Rejects()) as rejects:
        account = read(export, source, index_tags(source, table), ZONE, NOW, stage, rejects)
        (staged,) = stage.parts()
        kept, conflicting = settle(staged)
        account.add_late(conflicting["line"], conflicting["tag"], "conflict")
        look_again(account, export, source)
        found = []
        seen = {(r["line"], r["point"]) for r in kept} | {(r["line"], r["point"]) for r in conflicting}
        for reading in kept:
            what = f"{instant_of(int(reading['time'])):%Y-%m-%d %H:%M:%S}Z  {reading['value']:g}"
            what += f"  {QUALITIES[reading['quality']]}"
            found.append((int(reading["line"]), "stored", f"{ids[reading['point']]}  {what}"))
        for reading in staged:
            if (reading["line"], reading["point"]) not in seen:
                found.append((int(reading["line"]), "duplicate", ids[reading["point"]]))
        stored, duplicate = len(kept), len(staged) - len(kept) - len(conflicting)
        for batch in rejects.tables("", "", "", NOW):
            for row in batch.to_pylist():
                times = f"x{row['repeats']}  " if row["repeats"] > 1 else ""
                raw = row["raw"].replace("\r", "\\r").replace("\0", "\\0")
                found.append((row["line"], row["reason"], f"{times}[{row['field']}]  {raw}"))
        assert account.lines == stored + duplicate + rejects.count
        lines = [f"{line:>4}  {word:<18} {what}".rstrip() for line, word, what in sorted(found)]
        lines += [f"remark on line {k}: {who}: {note}" for k, (who, note) in sorted(account.remarks.items())]
        total = f"{account.lines} = {stored} stored + {duplicate} duplicate + {rejects.count} rejected"
        empty = f", {account.empty} cells empty" if account.empty else ""
        return "\n".join([*lines, total + empty]) + "\n"


if __name__ == "__main__":
    sys.stdout.write(outcome(HERE / f"{sys.argv[1]}.toml"))
