"""What every page of the server stands on: the site, its users and sessions, and how a page is filled."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse

from condlube.operations.access import Access
from condlube.operations.desk import Desk, Sight
from condlube.web.guard import Forbidden
from condlube.web.render import environment
from condlube.web.sessions import COOKIE, Session, Sessions

_TITLES = {403: "Refused", 404: "Not there", 409: "Somebody else was first", 422: "Not as expected",
           503: "The store cannot be used"}  # fmt: skip


class NoSession(Exception):
    """Nobody is logged in where somebody has to be."""


class Frame:
    """One server's site. ``access`` empty: no login, for this machine alone."""

    def __init__(self, desk: Desk, access: Access, clock: Callable[[], datetime]) -> None:
        self.desk = desk
        self.access = access
        self.clock = clock
        self.sessions = Sessions(clock)
        self._templates = environment(desk.definition.site.zone, desk.definition.site.name)

    def session(self, request: Request) -> Session:
        """The session of a request. Without credentials a new browser gets one; else raises ``NoSession``."""
        held: Session | None = getattr(request.state, "session", None) or self.sessions.get(request.cookies.get(COOKIE))
        if held is None or (self.access and held.user is None):
            if self.access:
                raise NoSession
            held = self.sessions.open(None)
        request.state.session = held
        return held

    def analyst(self, request: Request) -> Session:
        """The session of somebody who may write. Raises ``Forbidden`` for a reader."""
        session = self.session(request)
        if not session.may_write:
            raise Forbidden("this needs the role analyst; readers look only")
        return session

    def show(
        self, request: Request, session: Session | None, template: str, sight: Sight | None, status: int = 200,
        **said: Any,
    ) -> Response:  # fmt: skip
        """A page. ``sight`` is the night it tells of."""
        night: dict[str, Any] = {"night": None, "newest": True, "nights": (), "run": None}
        if sight:
            night = {"night": sight.night, "newest": sight.night == sight.nights[-1], "nights": sight.nights,
                     "run": sight.run}  # fmt: skip
        text = self._templates.get_template(template).render(
            session=session, page=template.removesuffix(".html"), login=bool(self.access), **night, **said
        )
        response = HTMLResponse(text, status)
        if session:
            response.set_cookie(
                COOKIE, session.token, httponly=True, samesite="strict", secure=request.url.scheme == "https", path="/"
            )
        return response

    def load_templates(self) -> None:
        """Compile every template, so that no page waits for it."""
        for name in self._templates.list_templates():
            self._templates.get_template(name)

    def fail(self, request: Request, status: int, message: str, session: Session | None = None) -> Response:
        """A page that says what is wrong."""
        known = session or getattr(request.state, "session", None)
        title = _TITLES.get(status, "Not done")
        return self.show(request, known, "error.html", None, status, title=title, message=message)
