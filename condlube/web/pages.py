"""The pages that are looked at. Each reads one sight through an operation and fills one template."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from condlube.acquisition.reasons import REASONS as REASONS_OF_LINES
from condlube.explain.cautions import GENERAL
from condlube.explain.sentences import other_policy, stands
from condlube.explain.table import source_name
from condlube.operations import policies
from condlube.operations.backtests import kept_backtests, report_of
from condlube.operations.bearing import bearing_night, odds_bits, waterfall
from condlube.operations.desk import Row
from condlube.operations.files import csv_text
from condlube.operations.fleet import LIFE_EDGES, fleet
from condlube.operations.health import LINES_MOST, health, reasons_of, rejected_lines
from condlube.operations.queue import FLAGGED, Filters, queue, queue_lines
from condlube.operations.tasks import INSPECTION_COLUMNS, WORK_COLUMNS
from condlube.operations.trial import trial as try_policy
from condlube.operations.worklist import route_of, routes, tasks
from condlube.schema import words
from condlube.web.charts import Mark
from condlube.web.frame import Frame
from condlube.web.guard import REPORT_POLICY
from condlube.web.sessions import Session
from condlube.web.telling import SECTIONS, told_of

Night = Annotated[date | None, Query()]


def router(frame: Frame) -> APIRouter:
    """The pages of one site."""
    made = APIRouter(include_in_schema=False)
    Known = Annotated[Session, Depends(frame.session)]

    @made.get("/")
    def home() -> Response:
        return RedirectResponse("/queue", 303)

    @made.get("/queue")
    def show_queue(
        request: Request, session: Known, filters: Annotated[Filters, Depends(queue_filters)], night: Night = None,
        done: int = 0,
    ) -> Response:  # fmt: skip
        sight = frame.desk.sight(night)
        return frame.show(request, session, "queue.html", sight, queue=queue(sight, filters), done=done)

    @made.get("/bearing")
    def show_bearing(
        request: Request, session: Known, id: str, night: Night = None, state: str = "", done: str = ""
    ) -> Response:
        return bearing_page(frame, request, session, id, night, state, done=done)

    @made.get("/worklist")
    def show_worklist(request: Request, session: Known, night: Night = None, route: str = "") -> Response:
        sight = frame.desk.sight(night)
        known, shown = routes(frame.desk, sight), defaultdict[str, tuple[list[Row], list[Row]]](lambda: ([], []))
        for kind, rows in enumerate(tasks(frame.desk, sight, route)):
            for row in rows:
                shown[route_of(row)][kind].append(row)
        return frame.show(request, session, "worklist.html", sight, routes=known, route=route, general=GENERAL,
                          by_route=[(name, *shown[name]) for name in known if name in shown])  # fmt: skip

    @made.get("/worklist.csv")
    def export_worklist(session: Known, night: Night = None, route: str = "", kind: str = "grease") -> Response:
        sight = frame.desk.sight(night)
        jobs, looks = tasks(frame.desk, sight, route)
        text = csv_text(INSPECTION_COLUMNS, looks) if kind == "inspect" else csv_text(WORK_COLUMNS, jobs)
        name = f"{'inspections' if kind == 'inspect' else 'worklist'}-{sight.night}.csv"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response("\ufeff" + text, media_type="text/csv; charset=utf-8", headers=headers)

    @made.get("/fleet")
    def show_fleet(request: Request, session: Known, night: Night = None) -> Response:
        sight = frame.desk.sight(night)
        edges = [0.0, *LIFE_EDGES]
        names = [f"{a:g} to {b:g}" for a, b in zip(edges, LIFE_EDGES, strict=False)]
        found = fleet(sight)
        names += [f"over {edges[-1]:g}", "no interval"]
        life = list(zip(names, found.life, strict=True))
        condition = [(word.replace("_", " "), count) for word, count in found.condition.most_common()]
        return frame.show(request, session, "fleet.html", sight, fleet=found, life=life, condition=condition)

    @made.get("/data")
    def show_health(request: Request, session: Known, night: Night = None) -> Response:
        sight = frame.desk.sight(night)
        return frame.show(request, session, "health.html", sight, health=health(sight), reasons_of=reasons_of)

    @made.get("/data/rejected")
    def show_rejected(
        request: Request, session: Known, ingest: str, reason: str = "", text: str = "", night: Night = None
    ) -> Response:
        sight = frame.desk.sight(night)
        held = sight.snapshot.ledger_rows("ingests", {"ingest_id": ingest})
        if not held:
            return frame.fail(request, 404, f"no file was taken in as {ingest!r}", session)
        lines = rejected_lines(sight, ingest, reason, text)
        return frame.show(
            request, session, "rejected.html", sight, file=held[0], lines=lines, reason=reason, text=text,
            why=REASONS_OF_LINES, reasons=reasons_of(held[0]), most=LINES_MOST,
        )  # fmt: skip

    @made.get("/policy")
    def show_policy(
        request: Request, session: Known, night: Night = None, name: str = policies.IN_FORCE, against: str = "",
        trial: str = "", written: str = "",
    ) -> Response:  # fmt: skip
        sight = frame.desk.sight(night)
        found = policies.choices(frame.desk, sight)
        one = policies.chosen(found, name)
        other = policies.chosen(found, against) if against else None
        tried = try_policy(sight, other.policy, one.policy) if other and trial else None
        entries = policies.entries(one.policy)
        return frame.show(
            request, session, "policy.html", sight, choices=found, one=one, other=other, written=written,
            unreadable=policies.unreadable(frame.desk.definition), entries=by_section(entries), trial=tried,
            meanings={entry.key: entry.meaning for rows in entries.values() for entry in rows},
            about={**policies.section_comments(), **SECTIONS},
            differences=policies.compare(other.policy, one.policy) if other else [],
        )  # fmt: skip

    @made.get("/backtest")
    def show_backtest(request: Request, session: Known, night: Night = None) -> Response:
        sight = frame.desk.sight(night)
        return frame.show(request, session, "backtest.html", sight, found=kept_backtests(frame.desk.definition))

    @made.get("/backtest/report")
    def show_report(session: Known, name: str) -> Response:
        return HTMLResponse(report_of(frame.desk.definition, name), headers={"Content-Security-Policy": REPORT_POLICY})

    @made.get("/api")
    def show_api(request: Request, session: Known) -> Response:
        return frame.show(request, session, "api.html", None, schema=request.app.openapi())

    return made


def bearing_page(
    frame: Frame, request: Request, session: Session, bearing_id: str, night: date | None, state: str = "",
    status: int = 200, **said: Any,
) -> Response:  # fmt: skip
    """The bearing's page; ``said`` holds what a form came back with."""
    sight = frame.desk.sight(night)
    found = bearing_night(frame.desk, sight, bearing_id)
    shown = state if state in words.STATES[1:] else found.state or "starved"
    lines = queue_lines(sight)
    order = [line.bearing_id for line in lines if line.standing in FLAGGED]
    matter = next(line.matter for line in lines if line.bearing_id == bearing_id)
    steps = waterfall(found.evidence, shown)
    bars = [(source_name(step.evidence["source"]), step.bits, step.total) for step in steps]
    before, after = neighbours(order, bearing_id)
    digest = sight.run["policy_digest"]
    zone = sight.register.site.zone
    marks = [
        Mark(row["time"].astimezone(zone).date(), row["kind"], f"{row['time'].astimezone(zone):%Y-%m-%d} {row['kind']}")
        for row in found.events
    ]
    return frame.show(
        request, session, "bearing.html", sight, status,
        found=found, b=found.bearing, d=found.decision, state=shown, marks=marks, calls=called(found.decisions),
        earlier=alike(found.decisions),
        bars=bars,
        odds=odds_bits(found.decision, shown) if found.decision["call"] else None, words=words,
        told=told_of(frame.desk, sight, found),
        other_policy=other_policy(digest) if frame.desk.policy(digest).digest != digest else "",
        previous=before, following=after, stands=stands(matter, sight.night) if matter else "",
        today=frame.desk.today(frame.clock()),
        **{"done": "", "faults": {}, "form": defaultdict(str), "conflict": None, "refused": "", **said},
    )  # fmt: skip


def by_section(entries: Mapping[str, list[policies.Entry]]) -> dict[str, dict[str, list[policies.Entry]]]:
    """Entries of a policy by section and part of it."""
    made: dict[str, dict[str, list[policies.Entry]]] = {}
    for part, rows in entries.items():
        made.setdefault(part.partition(".")[0], {})[part] = rows
    return made


def alike(decisions: Sequence[Row]) -> list[tuple[date, Row]]:
    """Newest first, the first night and the last decision of every stretch of nights that were decided alike."""
    made = []
    for _, stretch in groupby(decisions, key=lambda row: (row["call"], row["reason"], row["condition_status"])):
        held = list(stretch)
        made.append((held[0]["night"], held[-1]))
    return made[::-1]


def called(decisions: Sequence[Row]) -> list[Mark]:
    """One mark for every unbroken stretch of nights with the same call, holds left out."""
    made = []
    for call, stretch in groupby(decisions, key=lambda row: row["call"] or "failed"):
        nights = [row["night"] for row in stretch]
        if call != "hold":
            span = f"{nights[0]}" if len(nights) == 1 else f"{nights[0]} to {nights[-1]}"
            made.append(Mark(nights[0], call, f"{span}: {call}", nights[-1]))
    return made


def neighbours(order: Sequence[str], bearing_id: str) -> tuple[str | None, str | None]:
    """The flagged bearings before and after one in the queue."""
    if bearing_id not in order:
        return None, None
    around = [None, *order, None]
    at = around.index(bearing_id)
    return around[at - 1], around[at + 1]


def queue_filters(
    area: str = "", route: str = "", call: str = "", reason: str = "", criticality: str = "", reviewed: str = "",
    standing: str = "", text: str = "", page: Annotated[int, Query(ge=1, le=1_000_000)] = 1,
) -> Filters:  # fmt: skip
    """The filters in an address."""
    return Filters(area, route, call, reason, criticality, reviewed, standing, text, page)
