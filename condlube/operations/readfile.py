"""Text files as people save them from a spreadsheet or an editor."""

from __future__ import annotations

import codecs
from pathlib import Path

from condlube.errors import ConfigurationError, Fault

_MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def read_text(path: Path, name: str) -> str:
    """The text of a file in UTF-8, or in what its byte order mark says; ``name`` is what messages call it.

    Raises ``ConfigurationError`` when the file cannot be opened or is not such text: a guess could turn one id into
    another.
    """
    text, faults = examine_text(path, name)
    if faults:
        raise ConfigurationError(faults)
    return text


def examine_text(path: Path, name: str) -> tuple[str, list[Fault]]:
    """The same without raising: what cannot be decoded reads as the replacement character."""
    try:
        data = path.read_bytes()
    except OSError as error:
        return "", [Fault(name, 0, "", error.strerror or str(error), "a file that can be read")]
    encoding = next((coding for mark, coding in _MARKS.items() if data.startswith(mark)), "utf-8")
    try:
        return data.decode(encoding), []
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        seen = data[max(error.start - 10, 0) : error.end + 10].decode(encoding, "replace").splitlines()[0]
        return data.decode(encoding, "replace"), [Fault(name, line, "", seen, "text saved as UTF-8")]
