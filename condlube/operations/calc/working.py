"""The worked page of a calculation, as data and as text."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from condlube.lubrication.result import Outside, Result

Value = float | int | str | bool | tuple[float, float] | None

PAGE_WIDTH = 100


@dataclass(frozen=True, slots=True)
class Item:
    """One named value: ``name`` for machines, ``label`` and ``symbol`` for people."""

    name: str
    label: str
    value: Value
    unit: str = ""
    symbol: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Method:
    """One method: its factors, the formula, the same with numbers, its results, and where it comes from.

    ``outside`` holds reason and advice where the method gives no number.
    """

    title: str
    source: str
    factors: tuple[Item, ...] = ()
    formula: tuple[str, ...] = ()
    substituted: tuple[str, ...] = ()
    results: tuple[Item, ...] = ()
    outside: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Working:
    """A whole page."""

    title: str
    inputs: tuple[Item, ...]
    methods: tuple[Method, ...] = ()
    results: tuple[Item, ...] = ()
    warnings: tuple[str, ...] = field(default=())


def scalar(result: Result) -> float | None:
    """The one number of a result, or None where it is outside its range."""
    return None if bool(np.any(result.outside)) else float(result.value)


def outside_text(code: int) -> str:
    """Reason and advice of an outside code, or an empty string."""
    outside = Outside(code)
    return f"{outside.why}; {outside.advice}" if outside else ""


def number_text(value: Value) -> str:
    """A value as the page prints it: thousands separated, four significant figures below a thousand."""
    if value is None:
        return "no value"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if isinstance(value, tuple):
        low, high = map(number_text, value)
        return low if low == high else f"{low} to {high}"
    if abs(value) >= 1000:
        return f"{value:,.0f}"
    return f"{value:.4g}"


def as_json(working: Working) -> dict[str, Any]:
    """The page for machines: values unrounded, by name; no value is null."""
    return {
        "title": working.title,
        "inputs": _items(working.inputs),
        "results": _items(working.results),
        "methods": [
            {
                "method": method.title,
                "factors": _items(method.factors),
                "formula": list(method.formula),
                "substituted": list(method.substituted),
                "results": _items(method.results),
                "outside_range": method.outside or None,
                "notes": list(method.notes),
                "source": method.source,
            }
            for method in working.methods
        ],
        "warnings": list(working.warnings),
    }


def _items(items: tuple[Item, ...]) -> dict[str, dict[str, Value]]:
    def clean(value: Value) -> Value:
        return None if isinstance(value, float) and not math.isfinite(value) else value

    return {item.name: {"value": clean(item.value), "unit": item.unit, "note": item.note} for item in items}


def as_text(working: Working) -> str:
    """The page for people."""
    return "\n".join(_lines(working)).rstrip() + "\n"


def _lines(working: Working) -> Iterator[str]:
    yield from (working.title, "=" * len(working.title), "")
    if working.inputs:
        yield from ("Given", *_table(working.inputs), "")
    for method in working.methods:
        yield from (method.title, "-" * len(method.title))
        yield from (f"  {line}" for line in method.formula)
        if method.formula and method.factors:
            yield ""
        yield from _table(method.factors)
        if method.substituted:
            yield from ("", *(f"  {line}" for line in method.substituted))
        if method.outside:
            yield from _wrapped("Outside range: ", f"{method.outside}.")
        elif method.results:
            yield from _table(method.results)
        for note in method.notes:
            yield from _wrapped("Note: ", note)
        yield from (*_wrapped("Source: ", method.source), "")
    if working.results:
        yield from ("Result", *_table(working.results), "")
    if working.warnings:
        yield "Warnings"
        for warning in working.warnings:
            yield from _wrapped("! ", warning)


def _wrapped(head: str, text: str) -> list[str]:
    first = "  " + head
    return textwrap.wrap(text, PAGE_WIDTH, initial_indent=first, subsequent_indent=" " * len(first))


def _amount(item: Item) -> str:
    return "no value" if item.value is None else f"{number_text(item.value)} {item.unit}".rstrip()


def _table(items: tuple[Item, ...]) -> Iterator[str]:
    if not items:
        return
    label = max(len(item.label) for item in items)
    symbol = max(len(item.symbol) for item in items)
    amounts = [_amount(item) for item in items]
    widest = max((len(amount) for amount, item in zip(amounts, items, strict=True) if item.note), default=0)
    for item, amount in zip(items, amounts, strict=True):
        head = f"  {item.label:<{label}}  " + (f"{item.symbol:<{symbol}}  " if symbol else "")
        yield (f"{head}{amount:<{widest}}  {item.note}" if item.note else f"{head}{amount}").rstrip()
