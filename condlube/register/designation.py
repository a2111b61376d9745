"""A bearing designation, read: type, boundary dimensions, closures, clearance, cage."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from condlube.errors import InvalidArgument
from condlube.register.dimensions import DIMENSIONS, SERIES

BASIC = re.compile(r"(?P<kind>NUP|NU|NJ|NF|N|QJ|C)?[ -]?(?P<digits>\d{1,5})(?P<slash>/(?:22|28|32)(?!\d))?")

SUFFIXES = """
seal_2     2RS 2RS1 2RS2 2RSR 2RSH 2RSH2 2RSL 2RSD 2RSN 2HRS 2BRS 2RZ 2RU 2LS 2LU 2NSE 2NSL 2CS 2CS2 2CS5
seal_2     LLU LLB LLC LLH DD DDU VV EE PP
seal_1     RS RS1 RS2 RSR RSH RSL HRS BRS RZ RU LU LB LC LH DU NSE NSL CS
shield_2   2Z 2ZR 2ZN ZZ ZZE
shield_1   Z ZR ZE ZN
clearance  C1 C2 CN C0 C3 C4 C5 CM
cage       TN TN9 TNG TNH TVP TVP2 TVH TVPB TVPA T2X M M1 M1A M1B M6 MA MB MB1 ML MP J JA JB JR JN1 P PA PH Y F
reinforced E EC E1 E1A EA EAS EG1 ET2X
insulated  VL0241 VL0246 VL2071 J20A J20AA J20AB J20B J20C HC HC5
taper      K K30
groove     W33
other      A AC B BE BEP BEM BECBP BECBM BECBY BECBJ BEGAP BEGAF BG C CB CC CA CAC D E2 XL X X3 DR L J2 Q
other      N NR N1 N2 S0 S1 S2 S3 P0 P4 P5 P6 P63 DB DF DT DBA UA UO W20 W64 VA405 VA406 VE552 HT LHT23 MT33 MT47 WT
"""
"""Suffixes of bearing makers, by what they say; a suffix written in two rows would be a fault."""

_KINDS = {token: kind for kind, *tokens in map(str.split, SUFFIXES.strip().splitlines()) for token in tokens}
_TOKENS = re.compile("|".join(re.escape(token) for token in sorted(_KINDS, key=len, reverse=True)))


@dataclass(frozen=True, slots=True)
class Designation:
    """What a designation says.

    Attributes
    ----------
    text
        The designation as written.
    bearing_type, series, bore_code
        Class name of the type; series and bore code as the plan of designations has them.
    bore_mm, outside_diameter_mm, width_mm
        Boundary dimensions; the width is T of a tapered and H of a thrust bearing.
    seal
        ``sealed`` or ``shielded`` where both sides are closed, else ``open``: one open side can be regreased.
    closure, closed_sides
        ``none``, ``shield`` or ``seal``, on how many sides (0, 1, 2). Low-friction seals (RZ, LLB, VV) count as seals.
    clearance
        Internal clearance class; ``CN`` where nothing is said.
    tapered_bore, lubrication_groove, insulated
        Suffix K or K30; W33 (groove and holes in the outer ring); current-insulated or hybrid.
    reinforced
        Suffix E or EC: larger rolling elements, a higher load rating than the plain design.
    cage
        Cage suffix, empty where nothing is said.
    other
        Known suffixes without bearing on lubrication.
    unread
        Suffixes that are not known: a seal could hide among them.
    """

    text: str
    bearing_type: str
    series: str
    bore_code: str
    bore_mm: float
    outside_diameter_mm: float
    width_mm: float
    seal: str = "open"
    closure: str = "none"
    closed_sides: int = 0
    clearance: str = "CN"
    tapered_bore: bool = False
    lubrication_groove: bool = False
    insulated: bool = False
    reinforced: bool = False
    cage: str = ""
    other: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def entry(self) -> str:
        """``outer_ring_groove`` where grease can enter through the outer ring (W33), else ``side``."""
        return "outer_ring_groove" if self.lubrication_groove else "side"


class UnknownDesignation(InvalidArgument):
    """A designation that gives no dimensions; ``understood`` says how far reading came."""

    def __init__(self, text: object, understood: str, expected: str) -> None:
        super().__init__("designation", text, f"{expected}; understood: {understood}")
        self.understood = understood


def _tokens(part: str) -> list[str]:
    """The known suffixes that make up one part, longest first; the whole part where they do not fit."""
    found, position = [], 0
    while position < len(part):
        match = _TOKENS.match(part, position)
        if match is None:
            return [part]
        found.append(match.group())
        position = match.end()
    return found


def _suffixes(text: str) -> dict[str, list[str]]:
    kinds: dict[str, list[str]] = {}
    for part in filter(None, re.split(r"[\s/.,_-]+", text)):
        for token in _tokens(part):
            kinds.setdefault(_KINDS.get(token, "unread"), []).append(token)
    return kinds


def _series_and_code(kind: str, digits: str, slash: str) -> tuple[str, str]:
    if slash:
        return kind + digits, slash
    if len(digits) == 3 and not kind:
        return digits[:2], digits[2:]
    return kind + digits[:-2], digits[-2:]


def _read_basic(written: str) -> tuple[str, str, str] | None:
    """Series, bore code and the rest; ``62052RS`` is read as 6205 and 2RS."""
    basic = BASIC.match(written)
    if basic is None:
        return None
    kind, digits, end = basic["kind"] or "", basic["digits"], basic.end()
    series, code = _series_and_code(kind, digits, basic["slash"] or "")
    if code not in DIMENSIONS.get(series, {}) and re.match(r"2[A-Z]", written[end - 1 :]):
        return *_series_and_code(kind, digits[:-1], ""), written[end - 1 :]
    return series, code, written[end:]


def _closure(kinds: dict[str, list[str]]) -> tuple[str, int]:
    for kind, sides in (("seal", 2), ("shield", 2), ("seal", 1), ("shield", 1)):
        if f"{kind}_{sides}" in kinds:
            return kind, sides
    return "none", 0


def parse_designation(text: str) -> Designation:
    """Read a designation such as ``6313-2Z/C3``, ``NU 220 ECP``, ``22220 EK/C3`` or ``30207``.

    Raises
    ------
    UnknownDesignation
        No series, or no bore code of that series, stands at the start; the error says what was understood. A bearing
        outside the built-in series needs its type and dimensions instead.
    """
    if not isinstance(text, str):
        raise UnknownDesignation(text, "nothing", "text such as '6313-2Z/C3'")
    return _parsed(text)


@lru_cache(maxsize=4096)
def _parsed(text: str) -> Designation:
    written = re.sub(r"\s+", " ", text.strip().upper())
    basic = _read_basic(written)
    if basic is None:
        raise UnknownDesignation(text, "no basic designation", "a series and bore code, such as '6313' or 'NU 220'")
    series, code, rest = basic
    if series not in DIMENSIONS:
        raise UnknownDesignation(text, f"bore code {code}", f"a known series ({', '.join(SERIES)}), not {series!r}")
    if code not in DIMENSIONS[series]:
        known = ", ".join(DIMENSIONS[series])
        raise UnknownDesignation(text, f"series {series} ({SERIES[series].bearing_type})", f"a bore code of {known}")
    if rest[:1].isdigit() and not re.match(r"2[A-Z]", rest):
        raise UnknownDesignation(text, f"series {series}, bore code {code}", f"a suffix, not {rest!r}")
    kinds = _suffixes(rest)
    closure, sides = _closure(kinds)
    both = {"seal": "sealed", "shield": "shielded"}
    return Designation(
        text=text,
        bearing_type=SERIES[series].bearing_type,
        series=series,
        bore_code=code,
        **DIMENSIONS[series][code]._asdict(),
        seal=both[closure] if sides == 2 else "open",
        closure=closure,
        closed_sides=sides,
        clearance=kinds.get("clearance", ["CN"])[-1].replace("C0", "CN"),
        tapered_bore="taper" in kinds,
        lubrication_groove="groove" in kinds,
        insulated="insulated" in kinds,
        reinforced="reinforced" in kinds,
        cage=" ".join(kinds.get("cage", [])),
        other=tuple(kinds.get("other", [])),
        unread=tuple(kinds.get("unread", [])),
    )
