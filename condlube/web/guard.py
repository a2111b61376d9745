"""What every answer carries and every request must show: headers, host, origin, session, role."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from urllib.parse import urlsplit

from fastapi import FastAPI, Request, Response
from fastapi.responses import PlainTextResponse

# Hashes of the two style elements that the chart library makes: an empty one, filled by script, and a fixed one.
_CHART_STYLES = (
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=' 'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='"
)
POLICY = (
    f"default-src 'none'; script-src 'self'; style-src 'self' {_CHART_STYLES}; "
    "img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# A report that a replay wrote: it carries its own styles, and nothing in it may run.
REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
BODY_MOST = 2_000_000
_SAFE = ("GET", "HEAD", "OPTIONS")
Next = Callable[[Request], Awaitable[Response]]


class Forbidden(Exception):
    """A request that is refused; the text says why."""


def protect(app: FastAPI, hosts: tuple[str, ...]) -> None:
    """Refuse foreign hosts, foreign origins and large bodies before anything is read, and put the headers on all else.

    ``hosts`` are the names under which the pages may be asked for; empty: any, for a server with credentials.
    """

    @app.middleware("http")
    async def _protect(request: Request, call_next: Next) -> Response:
        refusal = _refusal(request, hosts)
        response = PlainTextResponse(refusal, 403) if refusal else await call_next(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Cache-Control", "no-store")
        return response


def _refusal(request: Request, hosts: tuple[str, ...]) -> str:
    host = request.headers.get("host", "")
    if hosts and _name(host) not in hosts:
        return f"this server does not answer to the name {_name(host)!r}"
    if request.method in _SAFE:
        return ""
    origin = request.headers.get("origin")
    if origin is not None and origin.partition("://")[2] != host:
        return "the request comes from another site"
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "the request comes from another site"
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > BODY_MOST:
        return f"a request needs a Content-Length of at most {BODY_MOST}"
    return ""


def _name(host: str) -> str:
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""
