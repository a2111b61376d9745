"""Blocks: the lines of a file, whole and in order, however it is packed, encoded and cut."""

from __future__ import annotations

import gzip
import zipfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from condlube.acquisition import blocks
from condlube.acquisition.blocks import Block, Export, Lines, Unreadable, exports_in

ALPHABET = st.sampled_from(["a", ",", "\n", "\r\n", "é", "x" * 70, '"'])


def lines_of(export: Export, encoding: str = "utf-8", block_bytes: int = 64) -> list[tuple[int, bytes]]:
    stream = Lines(export, encoding, block_bytes)
    found = [(b.first + k, line) for b in stream for k, line in enumerate(b.texts(np.arange(b.count) + b.first))]
    stream.close()
    return found


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pieces=st.lists(ALPHABET, max_size=60), encoding=st.sampled_from(["utf-8", "utf-16", "utf-16-be", "cp1252"]))
def test_no_line_is_lost_and_every_number_is_right(pieces: list[str], encoding: str, tmp_path: Path) -> None:
    text = "".join(pieces)
    path = tmp_path / "f"
    path.write_bytes(text.encode(encoding))
    expected = text.split("\n")
    expected = [line.rstrip("\r") for line in (expected[:-1] if expected[-1] == "" else expected)]
    found = lines_of(Export(path), encoding)
    own = "utf-8" if encoding.startswith("utf") else encoding
    assert [line.decode(own) for _, line in found] == expected
    assert [number for number, _ in found] == list(range(1, len(expected) + 1))


@pytest.mark.parametrize("pack", [bytes, gzip.compress, lambda d: pa.compress(d, "zstd", asbytes=True)])
def test_compression_is_told_by_content(pack, tmp_path: Path) -> None:
    (tmp_path / "export.csv").write_bytes(pack(b"a\nb\n"))
    assert lines_of(Export(tmp_path / "export.csv")) == [(1, b"a"), (2, b"b")]


def test_every_member_of_an_archive_is_an_export(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "z", "w") as archive:
        archive.writestr("day/1.csv", "a\n")
        archive.writestr("day/2.csv", "b\n")
        archive.mkdir("empty")
    exports = exports_in(tmp_path / "z")
    assert [export.member for export in exports] == ["day/1.csv", "day/2.csv"]
    assert [lines_of(export) for export in exports] == [[(1, b"a")], [(1, b"b")]]
    assert exports[0].digest() != exports[1].digest()


@pytest.mark.parametrize(
    ("members", "told"),
    [([], "the archive holds no file"), (["[Content_Types].xml", "xl/workbook.xml"], "save its sheet as CSV")],
)
def test_an_archive_without_exports_is_told(members: list[str], told: str, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "z", "w") as archive:
        for member in members:
            archive.writestr(member, "<x/>")
    with pytest.raises(Unreadable, match=told):
        exports_in(tmp_path / "z")


@pytest.mark.parametrize(
    ("begin", "told"),
    [
        (b"PK\x03\x04\x14\x00", "a zip archive that is damaged or cut off"),
        (b"PAR1\x15\x04", "a Parquet file, no text: export CSV"),
        (b"%PDF-1.7", "a PDF document"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "save its sheet as CSV"),
    ],
)
def test_a_file_that_is_no_text_is_told_by_its_first_bytes(begin: bytes, told: str, tmp_path: Path) -> None:
    (tmp_path / "export.csv").write_bytes(begin + b"\n" * 99)
    with pytest.raises(Unreadable, match=told):
        exports_in(tmp_path / "export.csv")


@pytest.mark.parametrize("pack", [gzip.compress, lambda d: pa.compress(d, "zstd", asbytes=True)])
def test_a_cut_off_file_is_refused(pack, tmp_path: Path) -> None:
    data = pack(b"".join(b"%d,%d\n" % (k, k * k) for k in range(5000)))
    (tmp_path / "f").write_bytes(data[: len(data) // 2])
    with pytest.raises(Unreadable, match="damaged or cut off"):
        lines_of(Export(tmp_path / "f"))


def test_a_damaged_archive_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "z", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("1.csv", "a,b\n" * 5000)
    data = bytearray((tmp_path / "z").read_bytes())
    data[60:64] = b"\xff\xff\xff\xff"
    (tmp_path / "z").write_bytes(bytes(data))
    with pytest.raises(Unreadable, match="damaged or cut off"):
        lines_of(exports_in(tmp_path / "z")[0])


def test_a_line_without_end_is_no_text_export(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(blocks, "_LONGEST_LINE_BYTES", 1000)
    (tmp_path / "f").write_bytes(b"a\n" + b"x" * 300_000)
    with (
        closing(Lines(Export(tmp_path / "f"), "utf-8", 64)) as stream,
        pytest.raises(Unreadable, match="line 2 is over"),
    ):
        list(stream)


def test_the_head_is_taken_off_and_the_numbers_go_on(tmp_path: Path) -> None:
    (tmp_path / "f").write_bytes(b"\xef\xbb\xbftitle\r\nhead\r\n1\r\n2\r\n")
    stream = Lines(Export(tmp_path / "f"), "cp1252", 4)
    assert stream.head(2) == [b"title", b"head"]
    assert stream.encoding == "utf-8"
    assert [block.first for block in stream] == [3, 4]
    stream.close()


def test_a_head_longer_than_the_file(tmp_path: Path) -> None:
    (tmp_path / "f").write_bytes(b"only")
    stream = Lines(Export(tmp_path / "f"), "utf-8")
    assert stream.head(3) == [b"only"]
    assert list(stream) == []
    stream.close()


def test_texts_of_single_lines() -> None:
    block = Block(10, b"a\nbb\r\n\nccc")
    assert block.count == 4
    assert block.texts(np.array([13, 11, 12])) == [b"ccc", b"bb", b""]
    assert [line.as_py() for line in block.lines] == [b"a\n", b"bb\r\n", b"\n", b"ccc"]
