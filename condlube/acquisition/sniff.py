"""What the text of a sample tells about its form: encoding, delimiter, decimal mark, times, tags."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Collection, Sequence

import numpy as np
import pyarrow as pa

from condlube.acquisition.numbers import to_float
from condlube.acquisition.times import Times, to_times

Column = Sequence[str]
_TIME_FORMATS = (
    "iso", "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M", "%d-%m-%Y %H:%M:%S", "%d-%m-%Y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M %p",
    "%d/%m/%Y %I:%M:%S %p", "%d-%b-%Y %H:%M:%S", "%d-%b-%Y %H:%M", "%d-%b-%y %H:%M:%S", "%d-%b-%y %H:%M:%S.%f",
    "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M", "%Y%m%d %H:%M:%S", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y",
)  # fmt: skip
_QUALITY_WORDS = re.compile("good|ok|bad|uncertain|questionable|comm fail", re.IGNORECASE)
_QUALITY_NUMBERS = frozenset(map(str, (0, 4, 8, 12, 16, 20, 24, 28, 32, 64, 68, 80, 84, 88, 192, 195, 216)))
# Share of a column that must be numbers, times or quality words: headers and damage are in the sample too.
SHARE = 0.5


def encoding(sample: bytes) -> str:
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if sample[:4096].count(b"\0") > len(sample[:4096]) // 4:
        return "utf-16-le" if sample[1:2] == b"\0" else "utf-16-be"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def delimiter(lines: Sequence[str]) -> str:
    """The mark that most lines hold in the same number, above all where that number is large."""

    def score(mark: str) -> tuple[int, int]:
        counts = Counter(line.count(mark) for line in lines if line.count(mark))
        number, same = counts.most_common(1)[0] if counts else (0, 0)
        return same, number

    return max(";\t|,", key=score)


def time(table: list[list[str]], decimal: str, doubts: list[str]) -> tuple[int, int, str]:
    """First row of data, column of the times and their format; what the sample leaves open goes to ``doubts``."""
    for k, column in enumerate(zip(*table, strict=True)):
        forms = (*_TIME_FORMATS, *_number_formats(column, decimal))
        readable = {form: _times(column, form, decimal).readable for form in forms}
        fits = [form for form, rows in readable.items() if rows.mean() >= SHARE]
        if fits:
            best = max(fits, key=lambda form: readable[form].sum())
            rivals = [form for form in fits if readable[form].sum() == readable[best].sum()]
            if len({form[:5] for form in rivals} & {"%d/%m", "%m/%d"}) == 2:
                doubts.append(f"day first or month first? Both {rivals[0]} and {rivals[1]} fit the sample")
            return int(readable[best].argmax()), k, best
    doubts.append("no column of times found")
    return min(1, len(table)), 0, "iso"


def step_min(column: Column, form: str, decimal: str) -> float:
    """Usual minutes between the times of a column, 0 where there are no two."""
    times = _times(column, form, decimal)
    steps = np.diff(np.unique(times.us[times.readable]))
    return float(np.median(steps)) / 60e6 if len(steps) else 0.0


def _number_formats(column: Column, decimal: str) -> tuple[str, ...]:
    """Formats that numbers may have by their size: seconds, milliseconds or days of the years 2000 to 2100."""
    number = to_float(pa.array([text.encode() for text in column], pa.binary()), decimal, "", "utf-8")
    for form, low, high in (("epoch_s", 9.4e8, 4.1e9), ("epoch_ms", 9.4e11, 4.1e12), ("serial", 36_526, 73_051)):
        if ((number >= low) & (number <= high)).mean() >= SHARE:
            return (form,)
    return ()


def _times(column: Column, form: str, decimal: str) -> Times:
    texts = pa.chunked_array([pa.array([text.encode() for text in column], pa.binary())])
    return to_times(texts, form, decimal, "utf-8")


def decimal(columns: Sequence[Column], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    texts = [text.strip() for column in columns for text in column]
    commas = sum(bool(re.fullmatch(r"[+-]?\d+,\d+", text)) for text in texts)
    points = sum(bool(re.fullmatch(r"[+-]?\d+\.\d+", text)) for text in texts)
    return "," if commas > points else "."


def share_of_numbers(column: Column, decimal: str) -> float:
    filled = [text.encode() for text in column if text.strip()]
    if not filled:
        return 0.0
    number = to_float(pa.array(filled, pa.binary()), decimal, "", "utf-8")
    return float((number == number).mean())


def tag_column(columns: Sequence[Column], others: list[int], numeric: list[int], tags: Collection[str]) -> int | None:
    """The column that holds tags of the register, else the first column of text that is no quality."""
    known = [k for k in others if any(text.strip() in tags for text in columns[k])]
    quality = quality_column(columns, others)
    text = [k for k in others if k not in (*numeric, quality) and all(t.strip() for t in columns[k])]
    return next(iter(known or text), None)


def quality_column(columns: Sequence[Column], others: list[int]) -> int | None:
    """The column that holds mostly quality words, or nothing but OPC quality numbers with 192 among them."""
    for k in others:
        texts = [text.strip() for text in columns[k] if text.strip()]
        words = sum(bool(_QUALITY_WORDS.fullmatch(text)) for text in texts)
        if texts and (words >= SHARE * len(texts) or (_QUALITY_NUMBERS.issuperset(texts) and "192" in texts)):
            return k
    return None
