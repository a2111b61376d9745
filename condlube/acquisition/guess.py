"""A definition proposed from the first lines of a sample: every line of it is a guess, for an engineer to confirm."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from condlube.acquisition import sniff

_UNIT = re.compile(r".*\S\s*\[.*\]\s*")


@dataclass(frozen=True)
class Guess:
    """``text`` is the TOML of a source definition; ``doubts`` are the guesses that the sample does not settle."""

    text: str
    doubts: tuple[str, ...]


def guess(sample: bytes, name: str, pattern: str, tags: Collection[str]) -> Guess:
    """Propose a definition for a source called ``name`` from the begin of one of its files.

    ``pattern`` becomes its ``files``; ``tags`` are those of the register, which tell tag columns where they occur.
    """
    encoding = sniff.encoding(sample)
    lines = sample.decode(encoding, "replace").lstrip("\ufeff").splitlines()
    delimiter = sniff.delimiter(lines)
    rows = [next(csv.reader([line], delimiter=delimiter), []) for line in lines]
    widths = Counter(len(row) for row in rows if len(row) > 1).most_common(1)
    if not widths:
        return Guess(_toml(name, pattern, "long", {}, {}, {}), ("no delimiter found: is this a text export?",))
    width = widths[0][0]
    first = next(k for k, row in enumerate(rows) if len(row) == width)
    table = [row for row in rows[first:] if len(row) == width]
    doubts: list[str] = []
    decimal = sniff.decimal(list(zip(*table, strict=True)), delimiter)
    data_from, time_at, time_format = sniff.time(table, decimal, doubts)
    header, data = table[:data_from], table[data_from:]
    columns = list(zip(*data, strict=True)) or [()] * width
    others = [k for k in range(width) if k != time_at]
    numeric = [k for k in others if sniff.share_of_numbers(columns[k], decimal) >= sniff.SHARE]
    names: list[str | int] = [cell.strip() for cell in header[0]] if header else list(range(1, width + 1))
    usual = {"encoding": "utf-8", "delimiter": ",", "decimal": ".", "header_line": 1}
    form = {"encoding": encoding, "delimiter": delimiter, "decimal": decimal, "header_line": first + 1 if header else 0}
    form = {"time_format": time_format} | {key: value for key, value in form.items() if value != usual[key]}
    if time_format not in ("epoch_s", "epoch_ms") and not any(
        re.search(r"(Z|[+-]\d\d:?\d\d)$", r[time_at]) for r in data
    ):
        doubts.append(
            'the times carry no offset: they are taken as local times of the site unless [format] zone = "UTC"'
        )
    if (step_min := sniff.step_min(columns[time_at], time_format, decimal)) >= 60:
        doubts.append(
            f"one value in {step_min:g} min: if it is the mean of an interval that ends at its time, add "
            f'stamp = "end" and interval_min = {step_min:g} to [format]'
        )
    tag_at = sniff.tag_column(columns, others, numeric, tags)
    quality_at = sniff.quality_column(columns, others)
    value_at = next((k for k in numeric if k not in (tag_at, quality_at)), None)
    if tag_at is not None and value_at is not None:
        roles = {"time": time_at, "tag": tag_at, "value": value_at, "quality": quality_at}
        places = {role: names[k] for role, k in roles.items() if k is not None}
        return Guess(_toml(name, pattern, "long", form, places, {}), tuple(doubts))
    reader = "wide"
    headers: dict[str, object] = {}
    if len(header) > 1:
        reader = "wide_headers"
        form.pop("header_line", None)
        headers = dict(zip(("tag", "unit", "description"), range(first + 1, first + 1 + len(header)), strict=False))
        doubts.append("there are several header lines: which of them holds the tags, which the units?")
    elif any(_UNIT.fullmatch(str(names[k])) for k in others):
        headers = {"unit_marks": "[]"}
    elif len(others) == 1 and names[others[0]] not in tags:
        doubts.append('there is one value column: if each file holds one tag, reader is "per_tag"')
    return Guess(_toml(name, pattern, reader, form, {"time": names[time_at]}, headers), tuple(doubts))


def _toml(
    name: str,
    pattern: str,
    reader: str,
    form: Mapping[str, object],
    columns: Mapping[str, object],
    headers: Mapping[str, object],
) -> str:
    source = {"name": name, "files": pattern, "reader": reader}
    text: list[str] = []
    for section, keys in (("source", source), ("format", form), ("columns", columns), ("headers", headers)):
        if keys:
            text += [f"[{section}]", *(f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in keys.items()), ""]
    return "\n".join(text)
