"""Damaged exports: whatever is done to a file, no line is lost or counted twice, and nothing crashes.

Each export is damaged at random, then read in one block and again in tiny blocks: both ways must give the same readings
and the same rejects, so the fast way of reading and the exact second look cannot differ.
"""

from __future__ import annotations

import re
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from condlube.acquisition.blocks import Export, Unreadable
from condlube.acquisition.definition import SourceDefinition, parse_source
from condlube.acquisition.duplicates import settle
from condlube.acquisition.read import look_again, read
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.stage import Stage
from condlube.acquisition.tags import index_tags
from condlube.schema.arrow import rows_to_table

NOW = datetime(2026, 11, 15, 12, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Berlin")
TAGS = {"P1.TEMP": "temperature", "P1.VEL": "velocity", "P1.US": "ultrasound", "Lüfter": "temperature"}
POINTS = rows_to_table(
    "points", [{"point_id": tag.lower(), "tag": tag, "quantity": quantity} for tag, quantity in TAGS.items()]
)
HEAD = '[source]\nname = "s"\nfiles = "*"\nreader = "{}"\n[format]\n'
LONG = '[columns]\ntime = "time"\ntag = "tag"\nvalue = "value"\nquality = "quality"\n'


def _long_iso() -> tuple[str, str]:
    lines = ["time,tag,value,quality"]
    for k in range(40):
        lines.append(
            f"2026-03-01T{k // 4:02}:{k % 4 * 15:02}:00Z,{list(TAGS)[k % 4]},{k * 1.25},{'Good' if k % 7 else 192}"
        )
    return HEAD.format("long") + LONG, "\n".join(lines) + "\n"


def _long_local() -> tuple[str, str]:
    lines = ["time;tag;value;quality"]
    for k in range(48):
        at = datetime.fromtimestamp(1_792_879_200 + k * 900, ZONE)
        lines.append(f'{at:%d/%m/%Y %H:%M};"P1.TEMP";{k},5;Good')
    form = 'delimiter = ";"\ndecimal = ","\ntime_format = "%d/%m/%Y %H:%M"\n'
    return HEAD.format("long") + form + LONG, "\r\n".join(lines) + "\r\n"


def _epoch() -> tuple[str, str]:
    lines = ["time\ttag\tvalue\tquality"]
    lines += [f"{1_772_323_200 + 600 * k}\tP1.VEL\t{k / 8}\t{[192, 64, 0, 'bad'][k % 4]}" for k in range(40)]
    return HEAD.format("long") + 'delimiter = "\\t"\ntime_format = "epoch_s"\n' + LONG, "\n".join(lines)


def _wide() -> tuple[str, str]:
    lines = ["Time," + ",".join(TAGS)]
    lines += [
        f"2026-03-01 {k:02}:00,{k},{k / 10 if k % 5 else ''},{20 + k},{'No Data' if k == 7 else 40}" for k in range(24)
    ]
    return HEAD.format("wide") + '[columns]\ntime = "Time"\n', "\n".join(lines) + "\n"


def _route() -> tuple[str, str]:
    lines = ["When,Point,Velocity,Temp,Note"]
    lines += [f'2026-03-{k:02} 07:00,P1,{k / 10},{40 + k},"ok, {k}"' for k in range(1, 20)]
    text = '[columns]\ntime = "When"\ntag = "Point"\nremark = "Note"\n[values]\n"Velocity" = ".VEL"\n"Temp" = ".TEMP"\n'
    return HEAD.format("route") + text, "\n".join(lines) + "\n"


EXPORTS = {make.__name__: make() for make in (_long_iso, _long_local, _epoch, _wide, _route)}
RUBBISH = [
    b"\n", b"\r", b"\r\n", b'"', b'""', b",", b";", b"\t", b"\0", b"\xff", b"\xe9", b"\xc3\xa9", b" ", b"-", b"1e999",
    b"nan",
    b"inf", b"Bad", b"\xef\xbb\xbf", b"9" * 400, b"2026-10-25 02:30", b"31/04/2026 12:00", b",,,,",
]  # fmt: skip


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    for _ in range(rng.integers(1, 7)):
        at, span = int(rng.integers(0, len(data) + 1)), int(rng.integers(1, 60))
        lines = data.splitlines(keepends=True)
        match int(rng.integers(0, 9)):
            case 0:
                data = data[:at] + RUBBISH[rng.integers(len(RUBBISH))] + data[at:]
            case 1:
                data = data[:at] + data[at + span :]
            case 2:
                data = data[:at]
            case 3:
                data = data[:at] + bytes(rng.integers(0, 256, span, dtype=np.uint8)) + data[at:]
            case 4 if lines:
                data = b"".join(lines[k] for k in rng.permutation(len(lines)))
            case 5 if lines:
                data = data + b"".join(lines[: rng.integers(len(lines)) + 1])
            case 6:
                data = data.replace(RUBBISH[rng.integers(8)], RUBBISH[rng.integers(len(RUBBISH))], span)
            case 7:
                data = data[:at] + data[at : at + span] * 3 + data[at + span :]
            case _:
                data = data.replace(b"\n", b"\r\n", span)
    return data


def account_of(path: Path, source: SourceDefinition, block_bytes: int) -> tuple[int, list, list] | str:
    try:
        with Stage(POINTS.num_rows) as stage, closing(Rejects()) as rejects:
            account = read(Export(path), source, index_tags(source, POINTS), ZONE, NOW, stage, rejects, block_bytes)
            (staged,) = stage.parts()
            kept, conflicting = settle(staged)
            account.add_late(conflicting["line"], conflicting["tag"], "conflict")
            look_again(account, Export(path), source, block_bytes)
            rows = [row for table in rejects.tables("", "", "", NOW) for row in table.to_pylist()]
            assert len(kept) + (len(staged) - len(kept)) - len(conflicting) + rejects.count == account.lines
            assert sum(row["repeats"] for row in rows) == rejects.count
            assert np.isfinite(kept["value"]).all()
            told = [(r["line"], r["reason"], r["field"], r["raw"], r["repeats"]) for r in rows]
            return account.lines, kept[["point", "time", "value", "quality", "line"]].tolist(), sorted(told)
    except Unreadable as error:
        return str(error)


def lines_in(data: bytes) -> int:
    """Lines after the header that are not blank, counted independently of the code under test."""
    data = data.removeprefix(b"\xef\xbb\xbf")
    data = data if b"\n" in data else data.replace(b"\r", b"\n")
    return sum(not re.fullmatch(rb"[ \t]*\r?", line) for line in data.split(b"\n")[1:])


def try_one(name: str, seed: int, folder: Path) -> str:
    definition, text = EXPORTS[name]
    data = damaged(text.encode(), np.random.default_rng(seed))
    path = folder / f"{name}.csv"
    path.write_bytes(data)
    source = parse_source(definition, "s.toml")
    whole = account_of(path, source, 1 << 20)
    assert account_of(path, source, 97) == whole, f"{name}, seed {seed}: the size of the blocks changes the outcome"
    if isinstance(whole, str):
        return "refused"
    if name not in ("_wide", "_route"):
        assert whole[0] == lines_in(data), f"{name}, seed {seed}"
    return "rejects" if whole[2] else "clean"


@pytest.mark.parametrize("name", EXPORTS)
def test_no_line_of_a_damaged_export_is_lost(name: str, tmp_path: Path) -> None:
    seen = Counter(try_one(name, seed, tmp_path) for seed in range(80))
    assert seen["rejects"] > 20  # the damage was real, and most files were read all the same


@pytest.mark.long
@pytest.mark.parametrize("name", EXPORTS)
def test_no_line_of_ten_thousand_damaged_exports_is_lost(name: str, tmp_path: Path) -> None:
    for seed in range(1000, 3000):
        try_one(name, seed, tmp_path)
