"""What to do about one decision, as structured data: how the grease is given, what to look at, what to ask back.

No prose: words for it stand in ``explain``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from condlube.policy.decision import Dose

Row = Mapping[str, Any]
LISTENABLE = ("ultrasound",)
FORM_GREASE = ("grease_g", "level_before", "level_after", "outlet_open", "purge", "not_done_because")
FORM_INSPECT = ("finding", "failure_mode", "level_before", "note")

LOOK_FOR = {"grease_mismatch": "grease", "unsettled": "outlet", "overfilled": "outlet"}
"""What is looked for where the reason asks for more than the place that is looked at."""
# What would confirm each suspicion: damage classes of ISO 15243:2017 by clause, failure modes of ISO 14224:2016.
CONFIRM = {
    "bearing": (("5.1.2", "5.1.3", "5.2.2", "5.2.3", "5.3.2"), ("VIB", "NOI")),
    "supply": (("5.2.3", "5.3.2"), ("ELU", "PLU", "OHE")),
    "grease": ((), ()),
    "outlet": ((), ("OHE", "PLU")),
    "machine": ((), ("VIB", "STD")),
    "instrument": ((), ("AIR",)),
    "records": ((), ()),
}
ELECTRICAL = (("5.4.2", "5.4.3"), ("VIB", "NOI"))


@dataclass(frozen=True)
class Job:
    """One line of work.

    ``kind`` is grease, check_supply (automatic supply: lubricator, level, line), inspect, replace (a sealed bearing
    that is to be looked at itself: what is found there is not cured by grease) or none. ``strokes`` is None without a
    calibrated gun, and where one stroke of it is too much.
    ``shots`` is 0 where the dose is given at once; else so many equal shots while listening, ``wait_min`` apart, going
    on only while the level falls. ``by_line`` tells that the dose goes through a remote line. ``ceiling_g`` is not to
    be passed in one visit. ``look_for`` names what is looked for at ``look_at``; ``classes`` and ``modes`` would
    confirm it. ``form`` lists what is asked back; ``check_after_h`` is when the response is looked at, 0 where nothing
    is greased.
    """

    kind: str
    grease_id: str | None
    grease_g: float | None
    strokes: int | None
    gun_g_per_stroke: float | None
    ceiling_g: float | None
    shots: int
    wait_min: float
    by_line: bool
    look_at: str
    look_for: str
    second: str
    classes: tuple[str, ...]
    modes: tuple[str, ...]
    form: tuple[str, ...]
    check_after_h: float
    normal_rise_k: float
    normal_rise_h: float


def job(decision: Row, bearing: Row, evidence: Sequence[Row], dose: Dose) -> Job:
    """The work that a decision asks for.

    Parameters
    ----------
    decision
        Row of ``decisions``.
    bearing
        Its row of the register.
    evidence
        Its rows of ``evidence``.
    dose
        Section ``[dose]`` of the policy.
    """
    automatic = bearing["supply"] in ("single_point_lubricator", "central_system")
    call, second = decision["call"], decision["second_action"] or ""
    greases = (call == "grease" or second == "grease") and not automatic
    listens = listening(decision, evidence, dose)
    falls_due = call == "hold" and "survey_waits" not in (decision["guards"] or "").split()
    grams = decision["grease_g"] if greases or falls_due else None
    look_at = decision["look_at"] or ""
    sought = looked_for(decision)
    classes, modes = CONFIRM.get(sought, ((), ()))
    if look_at == "bearing" and any(row["source"] == "electrical" for row in evidence):
        classes, modes = ELECTRICAL
    return Job(
        kind=_kind(call, automatic, look_at, bearing),
        grease_id=decision["grease_id"] if grams else None,
        grease_g=grams,
        strokes=decision["strokes"] if grams and not automatic else None,
        gun_g_per_stroke=bearing["gun_g_per_stroke"],
        ceiling_g=grams * dose.ceiling_ratio if grams else None,
        shots=dose.shots if greases and listens else 0,
        wait_min=dose.shot_wait_min,
        by_line=bearing["fitting_access"] == "remote_line",
        look_at=look_at,
        look_for=sought,
        second=second,
        classes=classes,
        modes=modes,
        form=FORM_GREASE if greases else FORM_INSPECT if call == "inspect" else (),
        check_after_h=dose.check_after_h if greases else 0.0,
        normal_rise_k=dose.normal_rise_k,
        normal_rise_h=dose.normal_rise_h,
    )


def looked_for(decision: Row) -> str:
    """What an inspection looks for: what the reason asks for, else what is usual at the place looked at."""
    look_at = decision["look_at"] or ""
    return LOOK_FOR.get(decision["reason"].partition(" ")[0], look_at) if look_at == "supply" else look_at


def listening(decision: Row, evidence: Sequence[Row], dose: Dose) -> bool:
    """Whether the dose is given in shots while listening: where ultrasound is measured and no limit is passed, unless
    damage is too likely beside dryness."""
    heard = any(row["source"] in LISTENABLE and row["status"] != "absent" for row in evidence)
    limited = "absolute_limit" in (decision["guards"] or "").split()
    dry_enough = decision["p_starved"] >= dose.shots_starved_to_damaged * decision["p_damaged"]
    return heard and not limited and (decision["call"] == "grease" or dry_enough)


def _kind(call: str, automatic: bool, look_at: str, bearing: Row) -> str:
    if call == "grease":
        return "check_supply" if automatic else "grease"
    if call == "inspect":
        return "replace" if bearing["seal"] == "sealed" and look_at == "bearing" else "inspect"
    return "none"
