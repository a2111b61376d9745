"""Grease codes read: DIN 51502 / DIN 51825 and ISO 6743-9.

References
----------
.. [1] DIN 51502:1990, Designation of lubricants; DIN 51825, Type K lubricating greases (letters C to M confirmed, the
   others from memory).
.. [2] ISO 6743-9:2003, Lubricants, Family X (Greases) (from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from condlube.errors import InvalidArgument

KINDS = {
    "K": "rolling bearings, plain bearings and sliding surfaces",
    "G": "closed gears",
    "OG": "open gears",
    "M": "plain bearings and seals, low demands",
}
ADDITIVES = {"P": "extreme-pressure or anti-wear additives", "F": "solid lubricant"}
SYNTHETIC_OILS = {
    "HC": "synthetic hydrocarbon",
    "E": "ester",
    "PG": "polyglycol",
    "PH": "phosphoric acid ester",
    "FK": "perfluorinated oil",
    "SI": "silicone",
    "X": "other synthetic oil",
}
BASE_OIL_OF_CODE = {"HC": "pao", "E": "ester", "PG": "pag", "FK": "pfpe", "SI": "silicone", "": "mineral"}

UPPER_DEGC = {"C": 60.0, "D": 60.0, "E": 80.0, "F": 80.0, "G": 100.0, "H": 100.0, "K": 120.0, "M": 120.0,
              "N": 140.0, "P": 160.0, "R": 180.0, "S": 200.0, "T": 220.0}  # fmt: skip
"""Upper service temperature by letter; U is above 220 °C."""

WATER = {**dict.fromkeys("CEGK", "0-40 or 1-40"), **dict.fromkeys("DFHM", "2-40 or 3-40")}
"""Behaviour towards water at 40 °C by DIN 51807: 0 no change to 3 great change; not stated for N to U."""

DIN = re.compile(
    r"(?P<kind>OG|[KGM])\s*(?P<additives>[PF]{0,2}?)\s*(?P<oil>HC|PG|PH|FK|SI|E|X)?\s*"
    r"(?P<nlgi>(?:000|00|[0-6])(?:[-/](?:00|[0-6]))?)\s*(?P<upper>[C-HKMNPR-U])\s*(?P<lower>-\d{2})?"
)

ISO_LOWER_DEGC = {"A": 0.0, "B": -20.0, "C": -30.0, "D": -40.0, "E": None}
ISO_UPPER_DEGC = {"A": 60.0, "B": 90.0, "C": 120.0, "D": 140.0, "E": 160.0, "F": 180.0, "G": None}
ISO_WATER = {
    letter: (environment, rust)
    for letter, (environment, rust) in zip(
        "ABCDEFGHI",
        [
            (environment, rust)
            for environment in ("dry", "static humidity", "water washing")
            for rust in ("no rust protection", "fresh water", "salt water")
        ],
        strict=True,
    )
}
ISO = re.compile(
    r"(?:ISO\s*-?\s*)?(?:L\s*-?\s*)?X\s*-?\s*(?P<lower>[A-E])\s*(?P<upper>[A-G])\s*(?P<water>[A-I])\s*(?P<ep>[AB])"
    r"\s*-?\s*(?P<nlgi>000|00|[0-6])"
)


@dataclass(frozen=True, slots=True)
class GreaseCode:
    """What a grease code says.

    Attributes
    ----------
    standard, text
        The standard, and the code as written.
    use
        What the grease is for.
    extreme_pressure, solid_lubricant
        Whether the code promises them.
    base_oil
        Class name of the base oil, ``mineral`` where DIN names no synthetic oil, ``unknown`` for ISO.
    nlgi
        Consistency number.
    upper_degc, lower_degc
        Service temperatures; None where the code sets no bound (U, E or G) or gives none.
    water
        What the code says about water.
    """

    standard: str
    text: str
    use: str
    extreme_pressure: bool
    solid_lubricant: bool
    base_oil: str
    nlgi: str
    upper_degc: float | None
    lower_degc: float | None
    water: str


def _normal(argument: str, text: str, example: str) -> str:
    if not isinstance(text, str):
        raise InvalidArgument(argument, text, f"text such as {example!r}")
    return text.strip().upper().replace("−", "-").replace("–", "-")


def parse_din(text: str) -> GreaseCode:
    """Read a code by DIN 51502, such as ``KP 2 K-20`` or ``KPHC 1-2 N-40`` [1]_.

    Raises
    ------
    InvalidArgument
        The text is not such a code.
    """
    match = DIN.fullmatch(_normal("din_code", text, "KP2K-20"))
    if match is None:
        raise InvalidArgument("din_code", text, "a code by DIN 51502, such as 'KP2K-20'")
    upper, oil, lower = match["upper"], match["oil"] or "", match["lower"]
    return GreaseCode(
        standard="DIN 51502",
        text=text,
        use=KINDS[match["kind"]],
        extreme_pressure="P" in match["additives"],
        solid_lubricant="F" in match["additives"],
        base_oil=BASE_OIL_OF_CODE.get(oil, "unknown"),
        nlgi=match["nlgi"],
        upper_degc=UPPER_DEGC.get(upper),
        lower_degc=float(lower) if lower else None,
        water=WATER.get(upper, "not stated"),
    )


def parse_iso(text: str) -> GreaseCode:
    """Read a code by ISO 6743-9, such as ``ISO-L-XBCEB 2`` [2]_.

    Raises
    ------
    InvalidArgument
        The text is not such a code.
    """
    match = ISO.fullmatch(_normal("iso_code", text, "ISO-L-XBCEB 2"))
    if match is None:
        raise InvalidArgument("iso_code", text, "a code by ISO 6743-9, such as 'ISO-L-XBCEB 2'")
    return GreaseCode(
        standard="ISO 6743-9",
        text=text,
        use="grease of family X",
        extreme_pressure=match["ep"] == "B",
        solid_lubricant=False,
        base_oil="unknown",
        nlgi=match["nlgi"],
        upper_degc=ISO_UPPER_DEGC[match["upper"]],
        lower_degc=ISO_LOWER_DEGC[match["lower"]],
        water=", ".join(ISO_WATER[match["water"]]),
    )
