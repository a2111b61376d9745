"""Tags of a source -> measuring points, with the conversion and the range that go with each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.ranges import PLAUSIBLE
from condlube.acquisition.text import strings
from condlube.errors import Fault, InvalidArgument
from condlube.units import CANONICAL, linear

UNKNOWN, IGNORED, UNDECODABLE = -1, -2, -3
_EVER = (np.iinfo(np.int64).min, np.iinfo(np.int64).max)


@dataclass(frozen=True)
class TagIndex:
    """Bindings of tags to points, one array element each, those of one tag side by side.

    ``first`` and ``count`` say per tag which bindings it has; ``from_day`` and ``to_day`` are days since 1970, both
    included. ``factor`` is NaN where the unit does not measure the point's quantity; ``is_limited`` marks,
    per tag, that the date decides which point it means, or whether it means any. ``declared`` are the tags whose unit
    the definition states.
    """

    names: pa.Array
    ignored: int
    first: np.ndarray
    count: np.ndarray
    point: np.ndarray
    factor: np.ndarray
    offset: np.ndarray
    low: np.ndarray
    high: np.ndarray
    from_day: np.ndarray
    to_day: np.ndarray
    quantities: np.ndarray
    is_limited: np.ndarray
    declared: frozenset[str]

    def codes(self, tags: pa.Array | pa.ChunkedArray, encoding: str) -> np.ndarray:
        """Index into ``names`` per row of a binary or dictionary column, or UNKNOWN, IGNORED, UNDECODABLE."""
        if isinstance(tags, pa.ChunkedArray):
            tags = tags.combine_chunks()
        if pa.types.is_dictionary(tags.type):
            of_row: np.ndarray = self.codes(tags.dictionary, encoding)[tags.indices.to_numpy()]
            return of_row
        known = self.names.cast(pa.binary()) if encoding == "utf-8" else _encoded(self.names, encoding)
        code: np.ndarray = pc.index_in(tags, value_set=known).fill_null(UNKNOWN).to_numpy()
        if (code == UNKNOWN).any():
            code = code.copy()
            missed = np.flatnonzero(code == UNKNOWN)
            coded = tags.take(pa.array(missed)).dictionary_encode()
            text = pc.utf8_trim_whitespace(strings(coded.dictionary, encoding))
            again = pc.index_in(text, value_set=self.names).fill_null(UNKNOWN).to_numpy().copy()
            again[pc.match_substring(text, "\ufffd").to_numpy(zero_copy_only=False) & (again == UNKNOWN)] = UNDECODABLE
            code[missed] = again[coded.indices.to_numpy()]
        if self.ignored:
            code = np.where(code >= len(self.names) - self.ignored, IGNORED, code)
        return code

    def with_units(self, header_units: Mapping[str, str]) -> TagIndex:
        """The same for one file whose header states units by tag; those of the definition go before."""
        stated = [(tag, unit) for tag, unit in header_units.items() if tag not in self.declared]
        code = pc.index_in(pa.array([tag for tag, _ in stated], pa.string()), value_set=self.names).to_pylist()
        factor, offset = self.factor.copy(), self.offset.copy()
        for (_, unit), k in zip(stated, code, strict=True):
            if k is not None and k < len(self.first):
                for binding in range(self.first[k], self.first[k] + self.count[k]):
                    factor[binding], offset[binding] = scale(str(self.quantities[binding]), unit)
        return replace(self, factor=factor, offset=offset) if stated else self


def index_tags(source: SourceDefinition, points: pa.Table) -> TagIndex:
    """Index of all tags that ``source`` can mean among ``points`` (schema table)."""
    bound = _bindings(source, points)
    tags = [tag for tag, rows in bound.items() for _ in rows]
    point = np.array([row for rows in bound.values() for row in rows], np.int32)
    quantities, units = (points[name].take(pa.array(point)).to_pylist() for name in ("quantity", "unit"))
    stated = [source.units.get(tag) or unit for tag, unit in zip(tags, units, strict=True)]
    scales = [scale(q, unit or CANONICAL[q]) for q, unit in zip(quantities, stated, strict=True)]
    ranges = source.ranges
    limits = [ranges.get(tag) or ranges.get(q) or PLAUSIBLE[q] for tag, q in zip(tags, quantities, strict=True)]
    count = np.array([len(rows) for rows in bound.values()], np.int64)
    from_day, to_day = (
        points[name].cast(pa.int32()).cast(pa.int64()).fill_null(ever).to_numpy()[point]
        for name, ever in zip(("valid_from", "valid_to"), _EVER, strict=True)
    )
    first = np.concatenate([[0], np.cumsum(count)])[:-1].astype(np.int64)
    limited = (from_day > _EVER[0]) | (to_day < _EVER[1])
    return TagIndex(
        names=pa.array([*bound, *sorted(source.ignore)], pa.string()),
        ignored=len(source.ignore),
        first=first,
        count=count,
        point=point,
        factor=np.array([s[0] for s in scales], float),
        offset=np.array([s[1] for s in scales], float),
        low=np.array([low for low, _ in limits], float),
        high=np.array([high for _, high in limits], float),
        from_day=from_day,
        to_day=to_day,
        quantities=np.array(quantities, str),
        is_limited=(count > 1) | limited[first],
        declared=frozenset(source.units),
    )


def scale(quantity: str, unit: str) -> tuple[float, float]:
    """Factor and offset to the canonical unit; NaN where the unit does not measure the quantity."""
    if unit == CANONICAL[quantity]:
        return 1.0, 0.0
    try:
        return linear(quantity, unit)
    except InvalidArgument:
        return np.nan, np.nan


def binding_faults(source: SourceDefinition, points: pa.Table) -> list[Fault]:
    """What a definition says that the register does not bear out."""
    faults = []
    known = set(points["point_id"].to_pylist())
    for tag, point_id in source.tags.items():
        if point_id not in known:
            faults.append(source.fault("tags", tag, point_id, "a point_id of the points register"))
    bound = _bindings(source, points) if source.units or source.ranges else {}
    for tag, unit in source.units.items():
        if tag not in bound:
            faults.append(source.fault("units", tag, tag, "a tag of the points register or of [tags]"))
        for row in bound.get(tag, []):
            try:
                linear(points["quantity"][row].as_py(), unit)
            except InvalidArgument as error:
                faults.append(source.fault("units", tag, unit, error.expected))
    for key in source.ranges:
        if key not in bound and key not in CANONICAL:
            faults.append(source.fault("ranges", key, key, "a tag of the points register or a quantity"))
    return faults


def _bindings(source: SourceDefinition, points: pa.Table) -> dict[str, list[int]]:
    """Tag -> rows of the points that it may mean, counted from 0; a tag to be ignored means none."""
    by_point = {point_id: row for row, point_id in enumerate(points["point_id"].to_pylist())}
    bound: dict[str, list[int]] = {}
    for row, tag in enumerate(points["tag"].to_pylist()):
        if tag:
            bound.setdefault(tag, []).append(row)
    for tag, point_id in source.tags.items():
        if point_id in by_point:
            bound[tag] = [by_point[point_id]]
    return {tag: rows for tag, rows in bound.items() if tag not in source.ignore}


def _encoded(names: pa.Array, encoding: str) -> pa.Array:
    return pa.array([name.encode(encoding, "replace") for name in names.to_pylist()], pa.binary())
