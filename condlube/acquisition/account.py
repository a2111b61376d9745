"""Where every line of one file went: the rejected ones with what was wrong and their raw text."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from condlube.acquisition.blocks import Block
from condlube.acquisition.reasons import CODE, NAME, ROLE
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.rows import Layout, Rows
from condlube.acquisition.tags import TagIndex
from condlube.acquisition.text import strings

# One reject stands for all lines of such a tag, or of one whose unit is wrong, and one for all cells of a row whose
# time is at fault or that is the header again.
_PER_TAG = (CODE["unknown_tag"], CODE["ignored_tag"])
_UNIT = CODE["unit_unknown"]
_PER_LINE = (CODE["header_repeated"], *(CODE[reason] for reason, role in ROLE.items() if role == "time"))


@dataclass
class Account:
    """``lines`` = readings staged + rejects counted + rejects in ``late``, which still lack their raw text.

    ``remarks`` are the person and the remark by line.
    """

    layout: Layout
    index: TagIndex
    rejects: Rejects
    lines: int = 0
    empty: int = 0
    remarks: dict[int, tuple[str, str]] = field(default_factory=dict)
    late: list[tuple[np.ndarray, np.ndarray, int]] = field(default_factory=list)
    _tags: dict[tuple[int, str], tuple[int, int, str]] = field(default_factory=dict)

    def take(self, rows: Rows, problem: np.ndarray) -> None:
        """Count the rows of a block; ``problem`` is the reason code of each, 0 for readings."""
        self.lines += len(rows.line) + len(rows.broken)
        self.empty += rows.empty
        block = rows.block
        self.remarks.update(rows.remarks)
        self._add(block, rows.broken, rows.broken_reason, [""] * len(rows.broken))
        if not problem.any():
            return
        bad = np.flatnonzero(problem)
        tag = rows.tag.combine_chunks() if isinstance(rows.tag, pa.ChunkedArray) else rows.tag
        coded = tag.take(pa.array(bad))
        coded = coded if pa.types.is_dictionary(coded.type) else coded.dictionary_encode()
        names = [name.strip() for name in strings(coded.dictionary, self.layout.encoding).to_pylist()]
        of_row, line, reason = coded.indices.to_numpy(), rows.line[bad], problem[bad]
        per_tag = np.isin(reason, _PER_TAG)
        if rows.unit is None:  # then the unit is that of the tag, not of the line
            per_tag |= reason == _UNIT
        self._add_tags(block, names, of_row[per_tag], line[per_tag], reason[per_tag])
        single = ~per_tag
        self._add(block, line[single], reason[single], [names[k] for k in of_row[single].tolist()])

    def add_late(self, line: np.ndarray, tag: np.ndarray, reason: str) -> None:
        """Lines found out only after their block was gone; ``tag`` are codes of the index."""
        if len(line):
            self.late.append((line, tag, CODE[reason]))

    def settle_late(self, block: Block) -> None:
        """Add the late rejects among the lines of a block that was read once more."""
        for line, tag, reason in self.late:
            here = (line >= block.first) & (line < block.first + block.count)
            if here.any():
                names = self.index.names.take(pa.array(tag[here])).to_pylist()
                self._add(block, line[here], np.full(int(here.sum()), reason), names)

    def settle_tags(self) -> None:
        """One reject for every tag that is unknown or to be ignored, at its first line."""
        for (reason, name), (count, line, raw) in self._tags.items():
            where = [self.layout.field(NAME[reason], name)]
            self.rejects.add(np.array([line]), np.array([reason]), where, [raw], np.array([count]))

    def tag_counts(self, reason: str) -> dict[str, int]:
        """Tags rejected for ``reason`` with their lines, most lines first."""
        counts = {name: count for (code, name), (count, _, _) in self._tags.items() if code == CODE[reason]}
        return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))

    def _add(self, block: Block, line: np.ndarray, reason: np.ndarray, tags: list[str]) -> None:
        if len(line) == 0:
            return
        repeats = np.ones(len(line), np.int64)
        if np.isin(reason, _PER_LINE).any():
            keep, repeats = _group(line, reason)
            line, reason, tags = line[keep], reason[keep], [tags[k] for k in keep.tolist()]
        fields = [self.layout.field(NAME[r], t) for r, t in zip(reason.tolist(), tags, strict=True)]
        texts = [text.decode(self.layout.encoding, "replace") for text in block.texts(line)]
        raw = [self.layout.raw(text, where) for text, where in zip(texts, fields, strict=True)]
        self.rejects.add(line, reason, fields, raw, repeats)

    def _add_tags(
        self, block: Block, names: list[str], of_row: np.ndarray, line: np.ndarray, reason: np.ndarray
    ) -> None:
        keys, first, count = np.unique(of_row * 1000 + reason, return_index=True, return_counts=True)
        for key, at, n in zip(keys.tolist(), first.tolist(), count.tolist(), strict=True):
            name, code = names[key // 1000], key % 1000
            if known := self._tags.get((code, name)):
                self._tags[(code, name)] = (known[0] + n, *known[1:])
                continue
            text = block.texts(line[at : at + 1])[0].decode(self.layout.encoding, "replace")
            raw = self.layout.raw(text, self.layout.field(NAME[code], name))
            self._tags[(code, name)] = (n, int(line[at]), raw)


def _group(line: np.ndarray, reason: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Positions to keep and for how many rows each stands: rows of one line that is at fault as a whole become one."""
    key = np.where(np.isin(reason, _PER_LINE), line, -1 - np.arange(len(line)))
    _, keep, repeats = np.unique(key, return_index=True, return_counts=True)
    order = np.argsort(keep)
    return keep[order], repeats[order]
