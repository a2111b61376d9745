"""What is sent from the pages: verdicts, records of work, approvals, logging in and out."""

from dataclasses import fields
from datetime import date
from secrets import compare_digest
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData

from condlube.errors import CondlubeError, ConfigurationError, StoreError
from condlube.operations import policies
from condlube.operations.queue import Filters
from condlube.operations.record import record
from condlube.operations.reviews import Conflict, Unfit, Verdict, submit
from condlube.web.frame import Frame
from condlube.web.guard import Forbidden
from condlube.web.pages import bearing_page
from condlube.web.render import link_to
from condlube.web.sessions import COOKIE, Session

RECORDED = (
    "time", "grease_g", "grease_id", "level_before", "level_after", "outlet_open", "purge", "finding", "failure_mode",
    "lubrication_related", "supersedes", "note",
)  # fmt: skip


def router(frame: Frame) -> APIRouter:
    """Forms of one site; each answers with a redirect, or with the page and what is wrong."""
    made = APIRouter(include_in_schema=False)
    Analyst = Annotated[Session, Depends(frame.analyst)]

    async def sent(request: Request) -> FormData:
        return await request.form(max_files=0, max_fields=2000)

    Sent = Annotated[FormData, Depends(sent)]

    @made.post("/verdict")
    def verdict(request: Request, session: Analyst, form: Sent) -> Response:
        told = _checked(session, form)
        night, bearing_id = _day(told["night"]), told["bearing_id"]
        if night is None:
            return frame.fail(request, 422, "the form names no night", session)
        who = _signed(frame, session, told)
        kind = told["verdict"]
        given = Verdict(
            bearing_id,
            night,
            told["run_id"],
            who,
            kind,
            call=told["call"] if kind == "change" else "",
            defer_until=_day(told["defer_until"]) if kind == "defer" else None,
            reason=told["reason"] if kind != "agree" else "",
            note=told["note"],
            last_review_seen=told["last_review_seen"],
        )
        try:
            submit(frame.desk, [given], frame.clock())
        except Unfit as error:
            return bearing_page(frame, request, session, bearing_id, night, "", 422, faults=error.faults, form=told)
        except Conflict as error:
            return bearing_page(frame, request, session, bearing_id, night, "", 409, conflict=error.standing, form=told)
        except StoreError as error:
            return bearing_page(frame, request, session, bearing_id, night, "", 503, refused=str(error), form=told)
        return RedirectResponse(link_to("/bearing", id=bearing_id, night=night, done="verdict"), 303)

    @made.post("/agree")
    def agree(request: Request, session: Analyst, form: Sent) -> Response:
        told = _checked(session, form)
        night = _day(told["night"])
        if night is None:
            return frame.fail(request, 422, "the form names no night", session)
        who = _signed(frame, session, told)
        ticked = [str(value) for value in form.getlist("bearing_id")]
        chosen = [str(b) for lead in ticked for b in (lead, *form.getlist(f"with:{lead}"))]
        given = [
            Verdict(b, night, told["run_id"], who, "agree", last_review_seen=str(form.get(f"seen:{b}", "")))
            for b in chosen
        ]
        try:
            submit(frame.desk, given, frame.clock())
        except (Conflict, Unfit) as error:
            return frame.fail(request, 409 if isinstance(error, Conflict) else 422, str(error), session)
        back = {field.name: told[field.name] for field in fields(Filters)}
        return RedirectResponse(link_to("/queue", night=night, done=len(given) or None, **back), 303)

    @made.post("/record")
    def record_work(request: Request, session: Analyst, form: Sent) -> Response:
        told = _checked(session, form)
        bearing_id, night = told["bearing_id"], _day(told["night"])
        sight = frame.desk.sight(night)
        who = _signed(frame, session, told)
        given: dict[str, Any] = {name: told[name] for name in RECORDED if told[name]}
        faults = {} if who.strip() else {"who": "the name of whoever did or reports it"}
        try:
            if faults:
                raise Unfit(faults)
            record(
                frame.desk.store, sight.register, told["kind"], frame.clock(), bearing_id=bearing_id, who=who, **given
            )
        except Unfit as error:
            faults = error.faults
        except ConfigurationError as error:
            faults = {fault.column: fault.expected for fault in error.faults}
        except StoreError as error:
            return bearing_page(frame, request, session, bearing_id, night, "", 503, refused=str(error), form=told)
        if faults:
            faults = {f"record_{name}": text for name, text in faults.items()}
            return bearing_page(frame, request, session, bearing_id, night, "", 422, faults=faults, form=told)
        return RedirectResponse(link_to("/bearing", id=bearing_id, night=night, done="record"), 303)

    @made.post("/policy/approve")
    def approve(request: Request, session: Analyst, form: Sent) -> Response:
        told = _checked(session, form)
        found = policies.choices(frame.desk, frame.desk.sight())
        who = _signed(frame, session, told)
        try:
            chosen = policies.chosen(found, told["name"])
            path = policies.approve(frame.desk, chosen, who, told["reason"], frame.clock())
        except CondlubeError as error:
            return frame.fail(request, 422, str(error), session)
        shown = frame.desk.definition.shown(path)
        return RedirectResponse(link_to("/policy", name=told["name"], written=shown), 303)

    @made.get("/login")
    def login_form(request: Request, next: str = "/queue") -> Response:
        return frame.show(request, None, "login.html", None, target=_local(next), wrong=False, paused=False)

    @made.post("/login")
    def login(request: Request, form: Sent) -> Response:
        told = _Told(form)
        name, target = told["name"], _local(told["next"])
        paused = frame.sessions.paused(name)
        user = None if paused else frame.access.check(name, told["password"])
        if user is None:
            frame.sessions.failed(name)
            return frame.show(request, None, "login.html", None, 403, target=target, wrong=True, paused=paused)
        session = frame.sessions.open(user)
        response = RedirectResponse(target, 303)
        secure = request.url.scheme == "https"
        response.set_cookie(COOKIE, session.token, httponly=True, samesite="strict", secure=secure, path="/")
        return response

    @made.post("/logout")
    def logout(session: Annotated[Session, Depends(frame.session)], form: Sent) -> Response:
        _checked(session, form)
        frame.sessions.close(session)
        response = RedirectResponse("/login" if frame.access else "/", 303)
        response.delete_cookie(COOKIE, path="/")
        return response

    return made


class _Told:
    """Texts of a form; what was not sent is empty."""

    def __init__(self, form: FormData) -> None:
        self._form = form

    def __getitem__(self, name: str) -> str:
        value = self._form.get(name, "")
        return value.strip() if isinstance(value, str) else ""


def _checked(session: Session, form: FormData) -> _Told:
    """The form, when it comes from a page of this session."""
    token = form.get("csrf", "")
    if not isinstance(token, str) or not compare_digest(token.encode(), session.csrf.encode()):
        raise Forbidden("the form was not sent from a page of this session: load the page again")
    return _Told(form)


def _signed(frame: Frame, session: Session, told: _Told) -> str:
    """Who says it: the user, or on a page of this machine alone the name that was typed."""
    if session.user:
        return session.user.name
    who = " ".join(told["who"].split())[:80]
    if who:
        frame.sessions.sign(session, who)
    return who


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _local(target: str) -> str:
    """A path of this server, whatever was asked for."""
    local = target.startswith("/") and not target.startswith(("//", "/\\")) and target.isprintable()
    return target if local else "/queue"
