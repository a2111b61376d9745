"""Making the next item of a stream while the last one is used, for on two cores the longer work hides the shorter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

Item = TypeVar("Item")
_END: Final = object()


def ahead(items: Iterable[Item]) -> Iterator[Item]:
    """The same items in the same order, each but the first made in a thread while the one before is used.

    One item more than without is in memory. What fails while an item is made fails where that item was wanted. A user
    who stops early waits for the item in making.
    """
    stream = iter(items)
    if (item := next(stream, _END)) is _END:
        return
    with ThreadPoolExecutor(1) as thread:
        while item is not _END:
            coming = thread.submit(next, stream, _END)
            yield item  # type: ignore[misc]
            item = coming.result()
