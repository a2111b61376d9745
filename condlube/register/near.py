"""The known word nearest to a mistyped one."""

from __future__ import annotations

from collections.abc import Collection
from difflib import get_close_matches

_MANY = 2000  # among more, the search would take longer than a reader has


def nearest(word: str, known: Collection[str | None]) -> str:
    """The nearest of ``known``, or the empty string when none is near."""
    if len(known) > _MANY:
        return ""
    folded = {name.casefold(): name for name in known if name is not None}
    if same := folded.get(word.casefold()):
        return same
    begun = [name for key, name in folded.items() if len(word) > 2 and key.startswith(word.casefold())]
    if len(begun) == 1:
        return begun[0]
    found = get_close_matches(word.casefold(), folded, 1, 0.7)
    return folded[found[0]] if found else ""


def one_of(word: str, known: Collection[str]) -> str:
    """What to expect instead of ``word``: the whole list, and the nearest of it if one is near."""
    near = nearest(word, known)
    return "one of " + ", ".join(known) + (f"; nearest is {near}" if near else "")


def perhaps(word: str, known: Collection[str | None]) -> str:
    """``; nearest is ...``, or nothing when none is near."""
    near = nearest(word, known)
    return f"; nearest is {near}" if near else ""
