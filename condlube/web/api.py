"""The same operations for programs: JSON in, JSON out, described by OpenAPI."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from condlube.operations import policies
from condlube.operations.backtests import kept_backtests
from condlube.operations.bearing import bearing_night
from condlube.operations.desk import evidence_of
from condlube.operations.fleet import fleet
from condlube.operations.health import health, rejected_lines
from condlube.operations.queue import Filters, queue
from condlube.operations.record import record
from condlube.operations.reviews import NOTE_MOST, Unfit, Verdict, submit
from condlube.operations.trial import trial as try_policy
from condlube.operations.worklist import tasks
from condlube.schema import words
from condlube.web.encode import answer
from condlube.web.frame import Frame
from condlube.web.guard import Forbidden
from condlube.web.pages import queue_filters
from condlube.web.sessions import Session
from condlube.web.telling import told_of

Night = Annotated[date | None, Query(description="Site-local date of a decided night; by default the newest.")]
Text = Annotated[str, Field(max_length=400)]
_FAULTS: dict[int | str, dict[str, Any]] = {
    code: {"description": said, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Fault"}}}}
    for code, said in ((401, "Nobody is logged in"), (403, "Refused"), (404, "Not there"), (422, "Not as expected"),
                       (503, "The store cannot be used"))
}  # fmt: skip
_WRITES = {**_FAULTS, 409: {**_FAULTS[404], "description": "Somebody else was first"}}


class Fault(BaseModel):
    """What is wrong."""

    detail: str


class VerdictIn(BaseModel):
    """A verdict on one decision. ``who`` is taken from the login where there is one."""

    model_config = ConfigDict(extra="forbid")
    bearing_id: Text
    night: date
    run_id: Text
    verdict: Literal[words.VERDICTS]  # type: ignore[valid-type]
    who: Text = ""
    call: Literal[("", *words.ACTIONS)] = ""  # type: ignore[valid-type]
    defer_until: date | None = None
    reason: Literal[("", *words.VERDICT_REASONS)] = ""  # type: ignore[valid-type]
    note: Annotated[str, Field(max_length=NOTE_MOST)] = ""
    last_review_seen: Annotated[str, Field(description="review_id of the newest verdict known; empty: none")] = ""


class EventIn(BaseModel):
    """Something done or found on a bearing, in the words of the events file."""

    model_config = ConfigDict(extra="forbid")
    bearing_id: Text
    kind: Literal[words.EVENT_KINDS]  # type: ignore[valid-type]
    who: Text = ""
    time: datetime | None = None
    grease_g: Annotated[float | None, Field(allow_inf_nan=False)] = None
    grease_id: Text | None = None
    level_before: Annotated[float | None, Field(allow_inf_nan=False)] = None
    level_after: Annotated[float | None, Field(allow_inf_nan=False)] = None
    outlet_open: bool | None = None
    purge: Text | None = None
    finding: Text | None = None
    failure_mode: Text | None = None
    lubrication_related: bool | None = None
    note: Annotated[str | None, Field(max_length=NOTE_MOST)] = None
    supersedes: Text | None = None


class ApprovalIn(BaseModel):
    """A policy that somebody approves, by its name among ``/api/policy``'s policies."""

    model_config = ConfigDict(extra="forbid")
    name: Text
    reason: Text
    who: Text = ""


def router(frame: Frame) -> APIRouter:
    """The API of one site."""
    made = APIRouter(prefix="/api", responses=_FAULTS, tags=["review"])
    Known = Annotated[Session, Depends(frame.session)]
    Analyst = Annotated[Session, Depends(json_analyst(frame))]

    @made.get("/nights")
    def nights(session: Known) -> Response:
        """The decided nights and the run that stands for each."""
        return answer(frame.desk.sight().runs)

    @made.get("/queue")
    def get_queue(session: Known, filters: Annotated[Filters, Depends(queue_filters)], night: Night = None) -> Response:
        """A page of the night's queue."""
        return answer(queue(frame.desk.sight(night), filters))

    @made.get("/bearing")
    def get_bearing(session: Known, id: Annotated[str, Query()], night: Night = None, whole: bool = False) -> Response:
        """One bearing: decision, evidence, trends, events, verdicts, and what is said about it. Of trends a sample of
        the older nights, with whole=true every night."""
        sight = frame.desk.sight(night)
        found = bearing_night(frame.desk, sight, id, whole)
        return answer({"night": found, "told": told_of(frame.desk, sight, found)})

    @made.get("/evidence")
    def get_evidence(session: Known, id: Annotated[str, Query()], night: Night = None) -> Response:
        """The evidence of one bearing, row by row."""
        sight = frame.desk.sight(night)
        sight.decision(id)
        return answer(evidence_of(sight, [id])[id])

    @made.get("/worklist")
    def get_worklist(session: Known, night: Night = None, route: str = "") -> Response:
        """Greasings and inspections of the night, by route; of one route where one is named."""
        jobs, looks = tasks(frame.desk, frame.desk.sight(night), route)
        return answer({"grease": jobs, "inspect": looks})

    @made.get("/fleet")
    def get_fleet(session: Known, night: Night = None) -> Response:
        """The fleet in numbers."""
        return answer(fleet(frame.desk.sight(night)))

    @made.get("/data")
    def get_health(session: Known, night: Night = None) -> Response:
        """The state of the data."""
        return answer(health(frame.desk.sight(night)))

    @made.get("/data/rejected")
    def get_rejected(session: Known, ingest: Annotated[str, Query()], reason: str = "", text: str = "") -> Response:
        """The first rejected lines of a file: for a reason, and with a text in them, where given."""
        return answer(rejected_lines(frame.desk.sight(), ingest, reason, text))

    @made.get("/policy")
    def get_policy(session: Known, name: str = policies.IN_FORCE, against: str = "", trial: bool = False) -> Response:
        """A policy as text; with against also what differs, with trial too the calls that would change tonight."""
        sight = frame.desk.sight()
        found = policies.choices(frame.desk, sight)
        one = policies.chosen(found, name)
        other = policies.chosen(found, against) if against else None
        return answer({
            "policies": {key: {"digest": held.digest, "author": held.author, "reason": held.reason,
                               "nights": held.nights} for key, held in found.items()},
            "text": one.policy.text,
            "differences": policies.compare(other.policy, one.policy) if other else None,
            "trial": try_policy(sight, other.policy, one.policy) if other and trial else None,
        })  # fmt: skip

    @made.post("/reviews", status_code=201, responses=_WRITES)
    def post_review(session: Analyst, given: VerdictIn) -> Response:
        """Give a verdict. 409 when another one came first: read it, then decide anew."""
        said = given.model_dump()
        said["who"] = session.user.name if session.user else given.who
        (review_id,) = submit(frame.desk, [Verdict(**said)], frame.clock())
        return answer({"review_id": review_id}, 201)

    @made.post("/events", status_code=201, responses=_WRITES)
    def post_event(session: Analyst, given: EventIn) -> Response:
        """Record something done or found."""
        said = {name: value for name, value in given.model_dump().items() if value is not None}
        said["who"] = session.user.name if session.user else given.who
        for name in ("outlet_open", "lubrication_related"):
            if name in said:
                said[name] = "yes" if said[name] else "no"
        if not said["who"].strip():
            raise Unfit({"who": "the name of whoever did or reports it"})
        register = frame.desk.sight().register
        made = record(frame.desk.store, register, said.pop("kind"), frame.clock(), **said)
        return answer({"new": made.new, "known": made.known}, 201)

    @made.post("/policies", status_code=201, responses=_WRITES)
    def post_policy(session: Analyst, given: ApprovalIn) -> Response:
        """Approve a policy: it is written, signed, into the site's folder of policies. The one in force stays."""
        chosen = policies.chosen(policies.choices(frame.desk, frame.desk.sight()), given.name)
        who = session.user.name if session.user else given.who
        path = policies.approve(frame.desk, chosen, who, given.reason, frame.clock())
        return answer({"file": frame.desk.definition.shown(path)}, 201)

    @made.get("/backtests")
    def get_backtests(session: Known) -> Response:
        """Replays in the output folder, with their figures."""
        return answer(kept_backtests(frame.desk.definition))

    return made


def json_analyst(frame: Frame) -> Any:
    """Dependency: an analyst whose request no foreign page can have sent, since it is declared as JSON."""

    def analyst(request: Request) -> Session:
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if kind != "application/json":
            raise Forbidden("expected Content-Type: application/json")
        return frame.analyst(request)

    return analyst
