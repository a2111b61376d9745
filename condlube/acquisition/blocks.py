"""An export file as blocks of whole lines: decompressed, in an encoding whose delimiters can be found as bytes."""

from __future__ import annotations

import codecs
import gzip
import hashlib
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import IO, cast

import numpy as np
import pyarrow as pa

from condlube.acquisition.text import is_ascii_superset
from condlube.errors import CondlubeError

BLOCK_BYTES = 16 << 20
_LONGEST_LINE_BYTES = 64 << 20
# What a file looks like is told by its first bytes.
_HEAD_BYTES = 64 << 10
_NO_TEXT = {
    b"PK\x03\x04": "a zip archive that is damaged or cut off: fetch it again",
    b"PAR1": "a Parquet file, no text: export CSV",
    b"%PDF": "a PDF document, no text: export CSV",
    b"\xd0\xcf\x11\xe0": "a spreadsheet workbook, no text: save its sheet as CSV",
}


class Unreadable(CondlubeError):
    """A file that cannot be read as a whole; nothing of it was taken, and it is tried again next time."""


@dataclass(frozen=True)
class Export:
    """One file of readings, or one member of a zip archive."""

    path: Path
    member: str = ""

    def digest(self) -> str:
        """SHA-256 of the file as it lies there; of a member, of the archive and the member's name."""
        with self.path.open("rb") as file:
            whole = hashlib.file_digest(file, "sha256").hexdigest()
        return hashlib.sha256(f"{whole}/{self.member}".encode()).hexdigest() if self.member else whole

    def open(self) -> IO[bytes]:
        """Decompressed bytes; the kind of compression is told by the first bytes, not by the name."""
        with self.path.open("rb") as file:
            magic = file.read(4)
        if self.member:
            return zipfile.ZipFile(self.path).open(self.member)
        if magic[:2] == b"\x1f\x8b":
            return cast(IO[bytes], gzip.open(self.path))
        if magic == b"\x28\xb5\x2f\xfd":
            return cast(IO[bytes], pa.CompressedInputStream(str(self.path), "zstd"))
        return self.path.open("rb")


def exports_in(path: Path) -> list[Export]:
    """The exports that a file holds: itself, or every member of a zip archive."""
    if not zipfile.is_zipfile(path):
        with path.open("rb") as file:
            magic = file.read(4)
        if magic in _NO_TEXT:
            raise Unreadable(f"it is {_NO_TEXT[magic]}")
        return [Export(path)]
    with zipfile.ZipFile(path) as archive:
        members = [entry for entry in archive.infolist() if not entry.is_dir()]
        if not members:
            raise Unreadable("the archive holds no file")
        if {"[Content_Types].xml", "mimetype"} & {entry.filename for entry in members}:
            raise Unreadable("it is a spreadsheet workbook or another document, no text: save its sheet as CSV")
        if any(entry.flag_bits & 1 for entry in members):
            raise Unreadable("the archive is locked by a password")
        return [Export(path, entry.filename) for entry in members]


@dataclass(frozen=True)
class Block:
    """Whole lines of a file, as bytes; ``first`` is the number of the first of them, counted from 1."""

    first: int
    data: bytes

    @cached_property
    def starts(self) -> np.ndarray:
        """Where each line starts, and at last where the data end."""
        ends = np.flatnonzero(np.frombuffer(self.data, np.uint8) == 0x0A) + 1
        closed = len(ends) > 0 and ends[-1] == len(self.data)
        last = [] if closed or not self.data else [len(self.data)]
        return np.concatenate([[0], ends, last]).astype(np.int32)

    @property
    def lines(self) -> pa.Array:
        """Every line as binary, with its line end."""
        return pa.Array.from_buffers(
            pa.binary(), len(self.starts) - 1, [None, pa.py_buffer(self.starts), pa.py_buffer(self.data)]
        )

    @cached_property
    def count(self) -> int:
        ends = np.count_nonzero(np.frombuffer(self.data, np.uint8) == 0x0A)
        return int(ends) + (not self.data.endswith(b"\n") and bool(self.data))

    def texts(self, numbers: np.ndarray) -> list[bytes]:
        """The lines with these numbers, without their line ends."""
        at = numbers - self.first
        begin, end = self.starts[at], self.starts[at + 1]
        return [self.data[b:e].rstrip(b"\r\n") for b, e in zip(begin.tolist(), end.tolist(), strict=True)]


class Lines:
    """The lines of an export in order, block by block. A byte order mark speaks louder than the declared encoding."""

    def __init__(self, export: Export, encoding: str, block_bytes: int = BLOCK_BYTES) -> None:
        self.name = export.member.rpartition("/")[2] or export.path.name
        self._block_bytes = block_bytes
        self._stream = export.open()
        self._number = 1
        size = max(block_bytes, _HEAD_BYTES)
        first = self._read(size)
        self._ended = len(first) < size
        self.encoding, skip = _byte_order_mark(first, encoding)
        self._decoder: codecs.IncrementalDecoder | None = None
        if not is_ascii_superset(self.encoding):
            self._decoder = codecs.getincrementaldecoder(self.encoding)("replace")
            self.encoding = "utf-8"
        elif first[:4096].count(b"\0") > len(first[:4096]) // 4:
            self.close()
            raise Unreadable('every other byte is NUL: if it is UTF-16, set encoding = "utf-16" in [format]')
        self._rest = self._decoded(first[skip:], self._ended)
        self._bare_cr = b"\n" not in self._rest[:_HEAD_BYTES] and b"\r" in self._rest[:_HEAD_BYTES]
        if self._bare_cr:
            self._rest = self._rest.replace(b"\r", b"\n")

    def close(self) -> None:
        self._stream.close()

    def head(self, count: int) -> list[bytes]:
        """Take the first ``count`` lines off, without their line ends; fewer if the file has fewer."""
        taken: list[bytes] = []
        while len(taken) < count and (self._rest or self._fill()):
            line, newline, rest = self._rest.partition(b"\n")
            if not newline and self._fill():
                continue
            self._rest = rest
            self._number += 1
            taken.append(_without_marks(line).rstrip(b"\r"))
        return taken

    def __iter__(self) -> Iterator[Block]:
        while self._rest or self._fill():
            limit = self._block_bytes
            cut = self._rest.rfind(b"\n", 0, limit) + 1 or self._rest.find(b"\n", limit) + 1
            if (cut == 0 or len(self._rest) < limit) and not self._ended:
                if len(self._rest) > _LONGEST_LINE_BYTES:
                    longest = f"{_LONGEST_LINE_BYTES >> 20} MiB"
                    raise Unreadable(f"line {self._number} is over {longest} long: no text export")
                self._fill()
                continue
            cut = cut or len(self._rest)
            block, self._rest = Block(self._number, _without_marks(self._rest[:cut])), self._rest[cut:]
            self._number += block.count
            yield block

    def _fill(self) -> bool:
        """Read more into the rest; False when the file has ended."""
        if self._ended:
            return False
        data = self._read(self._block_bytes)
        self._ended = len(data) < self._block_bytes
        text = self._decoded(data, self._ended)
        self._rest += text.replace(b"\r", b"\n") if self._bare_cr else text
        return bool(text) or not self._ended

    def _decoded(self, data: bytes, final: bool) -> bytes:
        return self._decoder.decode(data, final).encode("utf-8", "replace") if self._decoder else data

    def _read(self, size: int) -> bytes:
        try:
            return read_bytes(self._stream, size)
        except Unreadable:
            self.close()
            raise


def read_bytes(stream: IO[bytes], size: int) -> bytes:
    """``size`` bytes of an open export, fewer only at its end. Raises ``Unreadable`` where it is damaged."""
    parts, missing = [], size
    try:
        while missing and (part := stream.read(missing)):
            parts.append(bytes(part))
            missing -= len(part)
    except (EOFError, zlib.error, zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError) as error:
        raise Unreadable(f"the file cannot be read to its end, it is damaged or cut off: {error}") from error
    return b"".join(parts)


def _without_marks(lines: bytes) -> bytes:
    """Lines without the byte order marks that files joined together leave at the begin of some."""
    if lines.isascii() or codecs.BOM_UTF8 not in lines:
        return lines
    return re.sub(rb"(^|\n)(?:\xef\xbb\xbf)+", rb"\1", lines)


def _byte_order_mark(first: bytes, declared: str) -> tuple[str, int]:
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if first.startswith(mark):
            return encoding, len(mark)
    return codecs.lookup(declared).name, 0
