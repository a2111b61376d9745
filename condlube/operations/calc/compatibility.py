"""Whether one grease may follow another, worked."""

from __future__ import annotations

from condlube.lubrication.compatibility import (
    ADVICE,
    BASE_OILS,
    OIL_CELLS,
    SOURCES,
    UNKNOWN_NAMES,
    Mix,
    chart_cells,
    charts_disagree,
)
from condlube.lubrication.compatibility import compatibility as mixing
from condlube.operations.calc.working import Item, Method, Working

LETTERS = {"C": "compatible", "B": "borderline", "I": "incompatible", "": "not in this chart"}


def compatibility(
    in_service: str,
    assigned: str,
    *,
    same_product: bool = False,
    base_oil_in_service: str = "unknown",
    base_oil_assigned: str = "unknown",
) -> Working:
    """Answer for two greases: same, conditional, incompatible or unknown, with each chart's cell."""
    found = mixing(
        in_service,
        assigned,
        same_product=same_product,
        base_oil_in_service=base_oil_in_service,
        base_oil_assigned=base_oil_assigned,
    )
    answer = Mix(int(found.answer))
    inputs = (
        Item("in_service", "in service", in_service or "unknown", note=base_oil_in_service),
        Item("assigned", "assigned", assigned or "unknown", note=base_oil_assigned),
        Item("same_product", "same product", same_product),
    )
    warnings = []
    if bool(found.borderline):
        warnings.append("borderline: do not mix before a test of these two products has passed")
    if answer is Mix.CONDITIONAL and "unknown" in (base_oil_in_service, base_oil_assigned):
        warnings.append("base oils not both known: silicone, perfluorinated and polyglycol oils clash with others")
    methods = []
    if in_service not in UNKNOWN_NAMES and assigned not in UNKNOWN_NAMES:
        methods.append(_charts_page(in_service, assigned))
        if charts_disagree(in_service, assigned):
            warnings.append("the charts disagree: the severe one counts")
    if base_oil_in_service in BASE_OILS and base_oil_assigned in BASE_OILS:
        methods.append(_oils_page(base_oil_in_service, base_oil_assigned))
    results = (Item("answer", "answer", answer.name.lower(), note=ADVICE[answer]),)
    return Working("Grease compatibility", inputs, tuple(methods), results, tuple(warnings))


def _charts_page(in_service: str, assigned: str) -> Method:
    cells = chart_cells(in_service, assigned)
    return Method(
        "Thickeners",
        "; ".join(f"{chart}: {SOURCES[chart]}" for chart in cells),
        results=tuple(Item(chart.replace(" ", "_"), chart, LETTERS[letter]) for chart, letter in cells.items()),
        notes=('charts contradict each other and say nothing about additives: "compatible" means worth a test',),
    )


def _oils_page(old: str, new: str) -> Method:
    letter = str(OIL_CELLS[BASE_OILS.index(old), BASE_OILS.index(new)])
    return Method("Base oils", SOURCES["base oils"], results=(Item("base_oils", f"{old} with {new}", LETTERS[letter]),))
