"""Quality words and quality numbers -> good, uncertain, bad."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa

from condlube.acquisition.text import strings
from condlube.schema.words import QUALITIES

GOOD, UNCERTAIN, BAD = range(len(QUALITIES))
UNKNOWN = len(QUALITIES)

_CONSTANT_LIMIT = 0x03
_LOCAL_OVERRIDE = 0x18


def to_quality(column: pa.ChunkedArray, words: Mapping[str, str], numbers: str, encoding: str) -> np.ndarray:
    """int8 index into ``QUALITIES`` per row of a binary column; UNKNOWN where it is neither word nor number."""
    coded = column.combine_chunks().fill_null(b"").dictionary_encode()
    unique = strings(coded.dictionary, encoding).to_pylist()
    of_unique = np.array([of_text(text, words, numbers) for text in unique], np.int8)
    quality: np.ndarray = of_unique[coded.indices.to_numpy()]
    return quality


def of_text(text: str, words: Mapping[str, str], numbers: str) -> int:
    word = text.strip().casefold()
    if word in words:
        return QUALITIES.index(words[word])
    digits = word[:-2] if word.endswith(".0") else word
    if numbers == "none" or not digits.isascii() or not digits.isdigit() or len(digits) > 10:
        return UNKNOWN
    return of_data_access(int(digits)) if numbers == "opc_da" else of_unified_architecture(int(digits))


def of_data_access(number: int) -> int:
    """OPC Data Access quality, bits 0xC0 of the low byte: 0xC0 good, 0x40 uncertain, 0x00 and 0x80 (reserved) bad.

    Good is lowered to uncertain where the limit bits say that the value is constant (195: it may be frozen) and where
    it is a local override (216: somebody typed it). Source: OPC UA Part 8, release 1.05, annex A.3.2.3.
    """
    if number > 0xFFFF:
        return UNKNOWN
    major = number & 0xC0
    if major == 0xC0:
        doubtful = number & 0x03 == _CONSTANT_LIMIT or number & 0x3C == _LOCAL_OVERRIDE
        return UNCERTAIN if doubtful else GOOD
    return UNCERTAIN if major == 0x40 else BAD


def of_unified_architecture(number: int) -> int:
    """OPC Unified Architecture status code, highest two of 32 bits: 00 good, 01 uncertain, 10 and 11 bad (Part 4)."""
    if number > 0xFFFFFFFF:
        return UNKNOWN
    return (GOOD, UNCERTAIN, BAD, BAD)[number >> 30]
