"""Whether one grease may follow another in a bearing: two published charts, side by side, and base oils.

Published charts contradict each other (21 charts give lithium complex with aluminium complex 12 times compatible, 4
borderline, 5 incompatible [3]_), so the answer is never a plain "compatible": at best *conditional*, to be verified by
a mixture test or by the supplier. Where the two charts disagree the severe cell counts.

References
----------
.. [1] US Bureau of Reclamation, FIST 2-4, Lubrication of Powerplant Equipment (11/90), Table 2.
.. [2] Twelve-type trade chart, widely reproduced; aluminium complex row confirmed, other cells from memory.
.. [3] Trade review of published compatibility charts (lithium complex with aluminium complex, 21 charts).
.. [4] ASTM D6185, Standard Practice for Evaluating Compatibility of Binary Mixtures of Lubricating Greases.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import classes, flag
from condlube.lubrication.result import BoolArray, CodeArray


class Mix(IntEnum):
    """Answer for two greases."""

    SAME = 0
    CONDITIONAL = 1
    INCOMPATIBLE = 2
    UNKNOWN = 3


THICKENERS = (
    "lithium",
    "lithium_12_hydroxy",
    "lithium_complex",
    "calcium",
    "calcium_12_hydroxy",
    "calcium_complex",
    "calcium_sulfonate_complex",
    "aluminium_complex",
    "barium",
    "barium_complex",
    "sodium",
    "clay",
    "polyurea",
    "polyurea_shear_stable",
)
"""``lithium`` is either lithium soap: the severe row of chart 2 counts. Chart 1 has one row for both."""

BASE_OILS = ("mineral", "pao", "ester", "pag", "silicone", "pfpe")
UNKNOWN_NAMES = ("", "unknown")

FIST_CHART = """
                  sodium aluminium_complex barium calcium calcium_complex clay lithium lithium_complex polyurea
sodium            C      I                 I      I       I               I    I       I               I
aluminium_complex I      C                 I      I       I               I    B       C               I
barium            I      I                 C      I       I               I    I       I               I
calcium           I      I                 I      C       I               I    B       C               I
calcium_complex   I      I                 I      I       C               I    I       I               I
clay              I      I                 I      I       I               B    I       I               I
lithium           I      B                 I      B       I               I    C       C               I
lithium_complex   I      C                 I      C       I               I    C       C               I
polyurea          I      I                 I      I       I               I    I       I               C
"""
"""Chart 1 [1]_: C compatible, B borderline, I incompatible. It prints B for clay with clay."""

TRADE_CHART = """
                          AlX BaX Ca Ca12 CaX CaS Clay Li Li12 LiX PU PUss
aluminium_complex         C   I   I  C    I   B   I    I  I    C   I  C
barium_complex            I   C   I  C    I   C   I    I  I    I   I  B
calcium                   I   I   C  C    I   C   C    C  B    C   I  C
calcium_12_hydroxy        C   C   C  C    B   B   C    C  C    C   I  C
calcium_complex           I   I   I  B    C   I   I    I  I    C   C  C
calcium_sulfonate_complex B   C   C  B    I   C   I    B  B    C   I  C
clay                      I   I   C  C    I   I   C    I  I    I   I  B
lithium                   I   I   C  C    I   B   I    C  C    C   I  C
lithium_12_hydroxy        I   I   B  C    I   B   I    C  C    C   I  C
lithium_complex           C   I   C  C    C   C   I    C  C    C   I  C
polyurea                  I   I   I  I    C   I   I    I  I    I   C  C
polyurea_shear_stable     C   B   C  C    C   C   B    C  C    C   C  C
"""
"""Chart 2 [2]_, columns in the order of its rows."""

BASE_OIL_CHART = """
         mineral pao ester pag silicone pfpe
mineral  C       C   B     I   I        I
pao      C       C   C     I   I        I
ester    B       C   C     B   I        I
pag      I       I   B     C   I        I
silicone I       I   I     I   C        I
pfpe     I       I   I     I   I        C
"""
"""Miscibility of base oils: common practice, no single source."""

SOURCES = {
    "chart 1": "US Bureau of Reclamation FIST 2-4 (11/90), Table 2",
    "chart 2": "twelve-type trade chart (aluminium complex row confirmed, other cells from memory)",
    "base oils": "common practice",
}

ADVICE = {
    Mix.SAME: "same product: grease as planned",
    Mix.CONDITIONAL: "verify by an ASTM D6185 mixture test or with the supplier before mixing",
    Mix.INCOMPATIBLE: "do not mix: remove the old grease and clean the bearing, housing and lines first",
    Mix.UNKNOWN: "find out which grease is in service before greasing",
}


def _parse(chart: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    rows = [line.split() for line in chart.strip().splitlines()[1:]]
    return tuple(row[0] for row in rows), tuple("".join(row[1:]) for row in rows)


def _cells(chart: str, names: tuple[str, ...]) -> npt.NDArray[np.str_]:
    """The chart's letters over all ``names``; an empty string where the chart has no such row or column."""
    rows, letters = _parse(chart)
    table = np.full((len(names), len(names)), "", dtype="<U1")
    at = [names.index(row) for row in rows]
    table[np.ix_(at, at)] = [list(line) for line in letters]
    return table


def _severest(*letters: npt.NDArray[np.str_]) -> npt.NDArray[np.str_]:
    order = ("", "C", "B", "I")
    ranks = [sum(rank * (table == letter) for rank, letter in enumerate(order)) for table in letters]
    return np.asarray(np.array(order)[np.maximum.reduce(ranks)])


def _severest_with(table: npt.NDArray[np.str_], target: str, other: str) -> npt.NDArray[np.str_]:
    """The chart with the row and column of ``target`` made as severe as those of ``other``."""
    to, at = THICKENERS.index(target), THICKENERS.index(other)
    merged = table.copy()
    merged[to] = _severest(table[to], table[at])
    merged[:, to] = _severest(merged[:, to], merged[:, at])
    return merged


CHARTS = {
    "chart 1": _severest_with(_cells(FIST_CHART, THICKENERS), "lithium_12_hydroxy", "lithium"),
    "chart 2": _cells(TRADE_CHART, THICKENERS),
}
OIL_CELLS = _cells(BASE_OIL_CHART, BASE_OILS)
THICKENER_CELLS = _severest(
    CHARTS["chart 1"], CHARTS["chart 2"], _severest_with(CHARTS["chart 2"], "lithium", "lithium_12_hydroxy")
)


@dataclass(frozen=True, slots=True)
class Mixing:
    """Answers for pairs of greases.

    Attributes
    ----------
    answer
        :class:`Mix` code per element.
    borderline
        True where the severe cell reads *borderline*: do not mix before a test of these two products has passed.
    """

    answer: CodeArray
    borderline: BoolArray


def _position(argument: str, names: npt.ArrayLike, known: tuple[str, ...]) -> npt.NDArray[np.intp]:
    """Position in ``known``; at or above its length where the name is empty or ``unknown``."""
    return classes(argument, names, (*known, *UNKNOWN_NAMES))


def _with_unknown(cells: npt.NDArray[np.str_]) -> npt.NDArray[np.str_]:
    """The chart with empty rows and columns for the names that mean unknown."""
    return np.pad(cells, (0, len(UNKNOWN_NAMES)), constant_values="")


def compatibility(
    in_service: npt.ArrayLike,
    assigned: npt.ArrayLike,
    *,
    same_product: npt.ArrayLike = False,
    base_oil_in_service: npt.ArrayLike = "unknown",
    base_oil_assigned: npt.ArrayLike = "unknown",
) -> Mixing:
    """Whether the assigned grease may follow the grease in service [1]_ [2]_.

    Parameters
    ----------
    in_service, assigned
        Thickener names (:data:`THICKENERS`), ``unknown`` or empty.
    same_product
        True where both are known to be the same product; that alone answers *same*.
    base_oil_in_service, base_oil_assigned
        Base oil names (:data:`BASE_OILS`), ``unknown`` or empty; unknown oils leave the thickener's answer.

    Returns
    -------
    Mixing
        *Incompatible* where either chart or the base oils say so; *unknown* where no chart has the pair; otherwise
        *conditional*. Equal thickeners of different products are conditional too.

    Raises
    ------
    InvalidArgument
        A name that is in no chart.
    """
    old, new = _position("in_service", in_service, THICKENERS), _position("assigned", assigned, THICKENERS)
    old_oil = _position("base_oil_in_service", base_oil_in_service, BASE_OILS)
    new_oil = _position("base_oil_assigned", base_oil_assigned, BASE_OILS)
    same = flag("same_product", same_product)
    old, new, old_oil, new_oil, same = np.broadcast_arrays(old, new, old_oil, new_oil, same)
    thickener = _with_unknown(THICKENER_CELLS)[old, new]
    oil = _with_unknown(OIL_CELLS)[old_oil, new_oil]
    severe = _severest(thickener, oil)
    answer = np.select(
        [same, severe == "I", thickener == ""], [Mix.SAME, Mix.INCOMPATIBLE, Mix.UNKNOWN], Mix.CONDITIONAL
    ).astype(np.uint8)
    return Mixing(answer, np.asarray((severe == "B") & (answer == Mix.CONDITIONAL)))


def chart_cells(in_service: str, assigned: str) -> dict[str, str]:
    """The letter of each chart for two thickeners: C, B, I, or empty where the chart has no such cell [1]_ [2]_.

    Parameters
    ----------
    in_service
        Thickener name.
    assigned
        Thickener name.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    old, new = classes("in_service", in_service, THICKENERS), classes("assigned", assigned, THICKENERS)
    return {name: str(cells[old, new]) for name, cells in CHARTS.items()}


def charts_disagree(in_service: str, assigned: str) -> bool:
    """True where both charts have the pair and print different letters [1]_ [2]_.

    Parameters
    ----------
    in_service
        Thickener name.
    assigned
        Thickener name.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    letters = [letter for letter in chart_cells(in_service, assigned).values() if letter]
    return len(set(letters)) > 1
