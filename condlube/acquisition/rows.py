"""Readings as a source wrote them, and what is wrong with the ones that are not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.blocks import Block
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.numbers import to_float
from condlube.acquisition.quality import GOOD, UNKNOWN, to_quality
from condlube.acquisition.reasons import CODE
from condlube.acquisition.text import strings
from condlube.acquisition.times import Times


@dataclass(frozen=True)
class Rows:
    """One element per reading; times in the clock of the source, values in its units.

    ``problem`` is the first reason (code) found for not storing it, 0 if none. ``broken`` are the numbers of lines that
    could not be split into fields, with their reasons. ``block`` holds the text of all these lines. ``empty`` counts
    cells of a wide file that hold nothing. ``remarks`` are the person and the remark by line.
    """

    block: Block
    line: np.ndarray
    tag: pa.Array | pa.ChunkedArray
    times: Times
    value: np.ndarray
    quality: np.ndarray
    problem: np.ndarray
    broken: np.ndarray
    broken_reason: np.ndarray
    empty: int = 0
    unit: pa.Array | None = None
    remarks: Mapping[int, tuple[str, str]] = field(default_factory=dict)


class Layout(Protocol):
    """One file being read by a named reader. ``encoding`` is that of the bytes in its blocks."""

    encoding: str
    header_units: dict[str, str]

    def rows(self, block: Block) -> Rows: ...

    def field(self, reason: str, tag: str) -> str:
        """The column at fault."""
        ...

    def raw(self, line: str, field: str) -> str:
        """The raw text to keep of a rejected line."""
        ...


class Lines(Protocol):
    name: str
    encoding: str

    def head(self, count: int) -> list[bytes]: ...

    def __iter__(self) -> Iterator[Block]: ...


def values(column: pa.ChunkedArray, source: SourceDefinition, encoding: str) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of a column (NaN where there is none) and the code of what is wrong with each, 0 if nothing."""
    form = source.format
    value = to_float(column, form.decimal, form.thousands, encoding)
    problem = np.zeros(len(value), np.int8)
    bad = np.flatnonzero(np.isnan(value))
    if len(bad) and pa.types.is_floating(column.type):
        problem[bad] = CODE["value_empty"]
    elif len(bad):
        coded = column.combine_chunks().take(pa.array(bad)).fill_null(b"").dictionary_encode()
        words = pc.utf8_trim_whitespace(strings(coded.dictionary, encoding)).to_pylist()
        codes = [_of_text(word.casefold(), source.no_data) for word in words]
        problem[bad] = np.array(codes, np.int8)[coded.indices.to_numpy()]
    return value, problem


def qualities(column: pa.ChunkedArray | None, count: int, source: SourceDefinition, encoding: str) -> np.ndarray:
    """Quality per row; good throughout where the source has none."""
    if column is None:
        return np.full(count, GOOD, np.int8)
    return to_quality(column, source.quality, source.quality_numbers, encoding)


def first_problem(time: np.ndarray, value: np.ndarray, quality: np.ndarray) -> np.ndarray:
    """Code of the first thing wrong with each row: with its time, then with its value, then with its quality."""
    doubtful = np.where((value == 0) & (quality == UNKNOWN), CODE["quality_unknown"], value)
    return np.where(time > 0, time, doubtful)


def _of_text(word: str, no_data: frozenset[str]) -> int:
    if not word:
        return CODE["value_empty"]
    return CODE["no_data"] if word in no_data or not word.strip("#-–—*?") else CODE["not_a_number"]
