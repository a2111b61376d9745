"""Serving the review pages."""

from ipaddress import ip_address
from pathlib import Path

from condlube.errors import CondlubeError
from condlube.operations.access import Access, access_file
from condlube.operations.definition import load


def serve(site: Path, host: str, port: int) -> None:
    """Serve the review pages of a site until interrupted.

    Raises ``CondlubeError`` when ``host`` is not this machine alone and nobody has credentials.
    """
    import uvicorn

    from condlube.web.app import create_app

    file = access_file(load(site))
    access = Access.load(file)
    if not access and not is_loopback(host):
        raise CondlubeError(
            f"host {host}: the pages would be open to the network. Give somebody credentials first with "
            f"`condlube access {site} NAME`, or keep to 127.0.0.1"
        )
    uvicorn.run(create_app(site, access), host=host, port=port, log_level="warning", server_header=False)


def is_loopback(host: str) -> bool:
    """Whether a host name or address is this machine alone."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
