"""Bytes to text: encodings, once for whole blocks and once for the few values that are looked at singly."""

from __future__ import annotations

import codecs

import pyarrow as pa


def is_ascii_superset(encoding: str) -> bool:
    """Whether delimiters and digits can be found in the bytes without decoding them."""
    name = codecs.lookup(encoding).name
    return name in ("utf-8", "ascii") or name.startswith(("cp12", "iso8859", "latin", "koi8", "mac-", "cp8", "cp437"))


def strings(values: pa.Array, encoding: str) -> pa.Array:
    """Text of binary values; bytes that do not belong to the encoding become U+FFFD."""
    if pa.types.is_string(values.type):
        return values
    try:
        text = values.cast(pa.string())
    except pa.ArrowInvalid:
        text = None
    if text is not None and (codecs.lookup(encoding).name == "utf-8" or _all_ascii(values)):
        return text
    return pa.array([None if v is None else v.decode(encoding, "replace") for v in values.to_pylist()], pa.string())


def _all_ascii(values: pa.Array) -> bool:
    data = values.buffers()[2]
    return data is None or bytes(data).isascii()
