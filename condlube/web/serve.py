"""Serving the review pages."""

from collections.abc import Callable
from contextlib import suppress
from ipaddress import ip_address
from pathlib import Path
from threading import Thread
from time import sleep
from warnings import filterwarnings

from condlube.errors import CondlubeError
from condlube.operations.access import Access, access_file
from condlube.operations.bearing import bearing_night
from condlube.operations.definition import load
from condlube.operations.queue import queue_lines
from condlube.web.frame import Frame
from condlube.web.telling import told_of

WARM_BEARINGS = 50
"""So many of the most urgent bearings, a page of the queue, are ready before they are asked for."""
GIVE_WAY_S = 0.05
"""Between two of them whoever is at a page goes first."""


def serve(site: Path, host: str, port: int, tell: Callable[[str], None] = lambda line: None) -> None:
    """Serve the review pages of a site until interrupted; ``tell`` is told where.

    Raises ``CondlubeError`` when ``host`` is not this machine alone and nobody has credentials.
    """
    import uvicorn
    from pydantic.warnings import UnsupportedFieldAttributeWarning

    from condlube.web.app import create_app

    file = access_file(load(site))
    access = Access.load(file)
    if not access and not is_loopback(host):
        raise CondlubeError(
            f"host {host}: the pages would be open to the network. Give somebody credentials first with "
            f"`condlube access {site} NAME --role analyst`, or keep to 127.0.0.1"
        )
    # The framework silences this in a way that another thread can undo.
    filterwarnings("ignore", category=UnsupportedFieldAttributeWarning)
    app = create_app(site, access)
    shown = f"[{host}]" if ":" in host else host
    tell(f"Review pages at http://{shown}:{port}; stop with Ctrl+C.")
    Thread(target=keep_warm, args=(app.state.frame,), daemon=True).start()
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False)


def keep_warm(frame: Frame, every_s: float = 30.0) -> None:
    """Read each new night before the first analyst asks for it."""
    seen: set[str] = set()
    while True:
        with suppress(CondlubeError):
            run_id = frame.desk.sight().run["run_id"]
            if run_id not in seen:
                warm_up(frame)
                seen.add(run_id)
        sleep(every_s)


def warm_up(frame: Frame) -> None:
    """Read the newest night, and the trends of what an analyst will open first; that compiles what they need, too."""
    sight = frame.desk.sight()
    frame.load_templates()
    for line in queue_lines(sight)[:WARM_BEARINGS]:
        told_of(frame.desk, sight, bearing_night(frame.desk, sight, line.bearing_id))
        sleep(GIVE_WAY_S)


def is_loopback(host: str) -> bool:
    """Whether a host name or address is this machine alone."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
