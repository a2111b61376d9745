"""The review pages as one application."""

from collections.abc import Callable
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from condlube.errors import CondlubeError, StoreError
from condlube.operations.access import Access
from condlube.operations.desk import Desk, NotThere
from condlube.operations.reviews import Conflict, Unfit
from condlube.web import api, forms, pages
from condlube.web.frame import Frame, NoSession
from condlube.web.guard import Forbidden, protect

STATIC = Path(__file__).parent / "static"
LOOPBACK = ("127.0.0.1", "localhost", "::1")
CHARTS = "/static/plotly.min.js"


def now() -> datetime:
    """The clock of the server."""
    return datetime.now(UTC)


def create_app(site: Path, access: Access | None = None, clock: Callable[[], datetime] = now) -> FastAPI:
    """The pages of the site at ``site``. Without users in ``access`` they answer on this machine alone."""
    frame = Frame(Desk(site), access or Access({}), clock)
    app = FastAPI(
        title="condlube", version=version("condlube"), docs_url=None, redoc_url=None, openapi_url="/api/openapi.json"
    )
    app.state.frame = frame
    protect(app, () if frame.access else LOOPBACK)

    @app.get(CHARTS, include_in_schema=False)
    def chart_library() -> Response:
        from plotly.offline import __file__ as offline

        return FileResponse(
            Path(offline).parents[1] / "package_data" / "plotly.min.js",
            media_type="text/javascript", headers={"Cache-Control": "public, max-age=86400"},
        )  # fmt: skip

    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for part in (pages, forms, api):
        app.include_router(part.router(frame))
    _answer_errors(app, frame)
    return app


def _answer_errors(app: FastAPI, frame: Frame) -> None:
    """Errors become pages for people and JSON for programs, never a trace."""

    def answer(request: Request, status: int, message: str) -> Response:
        if request.url.path.startswith("/api/"):
            return JSONResponse({"detail": message}, status)
        return frame.fail(request, status, message)

    @app.exception_handler(NoSession)
    def _no_session(request: Request, error: NoSession) -> Response:
        if request.url.path.startswith("/api/"):
            return answer(request, 401, "log in first")
        target = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/login?next={quote(target if request.method == 'GET' else '/queue', safe='')}", 303)

    @app.exception_handler(Forbidden)
    def _forbidden(request: Request, error: Forbidden) -> Response:
        return answer(request, 403, str(error))

    @app.exception_handler(RequestValidationError)
    def _invalid(request: Request, error: RequestValidationError) -> Response:
        said = "; ".join(f"{'.'.join(str(p) for p in fault['loc'])}: {fault['msg']}" for fault in error.errors())
        return answer(request, 422, said)

    @app.exception_handler(CondlubeError)
    def _known(request: Request, error: CondlubeError) -> Response:
        kinds = ((NotThere, 404), (Conflict, 409), (Unfit, 422), (StoreError, 503))
        return answer(request, next((status for kind, status in kinds if isinstance(error, kind)), 422), str(error))

    @app.exception_handler(OSError)
    def _no_file(request: Request, error: OSError) -> Response:
        return answer(request, 503, f"a file of the site cannot be used: {error.strerror or error}")

    @app.exception_handler(HTTPException)
    def _http(request: Request, error: HTTPException) -> Response:
        return answer(request, error.status_code, str(error.detail))
