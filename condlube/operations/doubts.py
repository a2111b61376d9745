"""What is not wrong in a site's files but weakens its calls."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from glob import glob

import pyarrow as pa

from condlube.operations.definition import Definition
from condlube.register.designation import UnknownDesignation, parse_designation
from condlube.register.model import Register

_FIELDS = ["bearing_id", "designation", "supply", "grease_assigned", "commissioned", "defaults_used"]
_SHOWN = 5


def doubts(definition: Definition, register: Register, events: pa.Table) -> Iterator[str]:
    """Sentences about what the engineer should look at before trusting the calls."""
    bearings = register.bearings.select(_FIELDS).to_pylist()
    regreasable = [b for b in bearings if b["supply"] not in ("oil", "none")]
    kinds = zip(events["bearing_id"].to_pylist(), events["kind"].to_pylist(), strict=True)
    greased = {bearing for bearing, kind in kinds if kind in ("relubrication", "replacement")}
    if definition.site.assumed_last_greasing is None:
        yield from _say(
            (b for b in regreasable if b["commissioned"] is None and b["bearing_id"] not in greased),
            "no greasing on record and no date of commissioning: give commissioned or mounted, or "
            "assumed_last_greasing in the definition",
        )
    yield from _say((b for b in regreasable if not b["grease_assigned"]), "no grease assigned: a call cannot name one")
    yield from _say(
        (b for b in bearings if "seal" in b["defaults_used"].split() and _unread(b["designation"])),
        "a suffix of the designation is not known and may be a seal: give seal",
    )
    yield from _say((b for b in bearings if b["supply"] == "oil"), "lubricated with oil: never a call to grease")
    signalled = set(register.points["bearing_id"].to_pylist())
    yield from _say((b for b in regreasable if b["bearing_id"] not in signalled),
                    "no measuring point: greased by time alone")  # fmt: skip
    unlimited = [g["grease_id"] for g in register.greases.to_pylist() if g["temperature_max_degc"] is None]
    if unlimited:
        yield f"{_names(unlimited)}: no temperature_max_degc, so that the grease's limit cannot be watched"
    for source in definition.sources:
        if not glob(str(definition.folder / source.files), recursive=True):  # noqa: PTH207 - may be absolute
            yield f"{source.file}: no file matches {source.files} today"


def _say(bearings: Iterator[dict[str, object]], what: str) -> Iterator[str]:
    ids = [str(bearing["bearing_id"]) for bearing in bearings]
    if ids:
        yield f"{_names(ids)}: {what}"


def _names(ids: Collection[str]) -> str:
    first = ", ".join(list(ids)[:_SHOWN])
    return first if len(ids) <= _SHOWN else f"{first} and {len(ids) - _SHOWN} more"


def _unread(designation: str) -> bool:
    try:
        return bool(parse_designation(designation).unread)
    except UnknownDesignation:
        return False
