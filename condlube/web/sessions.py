"""Sessions of the review pages: kept in memory, gone with the server."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from threading import Lock

from condlube.operations.access import User

COOKIE = "condlube_session"
IDLE = timedelta(hours=1)
LONGEST = timedelta(hours=12)
MOST = 10_000
TRIES, PAUSE = 5, timedelta(seconds=60)


@dataclass(frozen=True)
class Session:
    """One browser. ``user`` is None on a page of this machine alone; ``who`` is the name last put under a verdict."""

    token: str
    csrf: str
    user: User | None
    begun: datetime
    seen: datetime
    who: str = ""

    @property
    def may_write(self) -> bool:
        return self.user is None or self.user.role == "analyst"

    @property
    def name(self) -> str:
        return self.user.name if self.user else self.who


class Sessions:
    """The sessions of one server. Safe to share between threads."""

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self._clock = clock
        self._held: dict[str, Session] = {}
        self._failures: dict[str, tuple[int, datetime]] = {}
        self._lock = Lock()

    def open(self, user: User | None) -> Session:
        """A new session; the oldest makes room for it when there are too many."""
        now = self._clock()
        session = Session(secrets.token_urlsafe(32), secrets.token_urlsafe(32), user, now, now)
        with self._lock:
            self._drop_expired(now)
            while len(self._held) >= MOST:
                del self._held[min(self._held, key=lambda token: self._held[token].seen)]
            self._held[session.token] = session
        return session

    def get(self, token: str | None) -> Session | None:
        """The session of a cookie, if it has not expired; it counts as seen now."""
        now = self._clock()
        with self._lock:
            session = self._held.get(token or "")
            if session is None:
                return None
            if _expired(session, now):
                del self._held[session.token]
                return None
            session = replace(session, seen=now)
            self._held[session.token] = session
        return session

    def sign(self, session: Session, who: str) -> None:
        """Remember the name put under a verdict."""
        with self._lock:
            if session.token in self._held:
                self._held[session.token] = replace(self._held[session.token], who=who)

    def close(self, session: Session) -> None:
        """End a session."""
        with self._lock:
            self._held.pop(session.token, None)

    def paused(self, name: str) -> bool:
        """Whether too many wrong passwords were tried for a name a moment ago."""
        with self._lock:
            count, last = self._failures.get(name, (0, self._clock()))
            return count >= TRIES and self._clock() - last < PAUSE

    def failed(self, name: str) -> None:
        """Count a wrong password."""
        with self._lock:
            now = self._clock()
            self._failures = {n: held for n, held in self._failures.items() if now - held[1] < PAUSE}
            self._failures[name] = (self._failures.get(name, (0, now))[0] + 1, now)

    def _drop_expired(self, now: datetime) -> None:
        self._held = {token: session for token, session in self._held.items() if not _expired(session, now)}


def _expired(session: Session, now: datetime) -> bool:
    return now - session.seen > IDLE or now - session.begun > LONGEST
