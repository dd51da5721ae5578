"""The server: on a thread of its own, on this computer alone unless it is shared."""

import io
import secrets
import socket
import threading
from collections.abc import Callable
from typing import Self

import uvicorn
from starlette.types import ASGIApp

from analysis.errors import ChipsongError
from monitor.page.guard import Door, Guard
from monitor.sharing import Sharing

_HERE = "127.0.0.1"
_CONNECTIONS = 128
_USUAL = 80  # port of HTTP (RFC 9110, 4.2.1)
_TO_STOP = 3.0  # s
# An address of the block that is reserved for documentation (RFC 5737): nothing is ever sent there.
_ANYWHERE = ("192.0.2.1", 9)


class Server:
    """
    Serves an application while it is entered.

    Parameters
    ----------
    make
        Makes the application, given where it is.
    sharing
        Who may see it.

    Raises
    ------
    ChipsongError
        When the port is taken, or there is no network to share it on.
    """

    def __init__(self, make: Callable[[Door], ASGIApp], sharing: Sharing) -> None:
        host = _address_on_network() if sharing.share else _HERE
        self._socket = _listening(host, sharing.port)
        port = self._socket.getsockname()[1]
        door = Door(names_of(host, port), secrets.token_urlsafe(18) if sharing.share else "")
        self.address = f"http://{host}:{port}{door.prefix}/"
        config = uvicorn.Config(
            Guard(make(door), door),
            log_config=None,
            log_level="critical",
            access_log=False,
            lifespan="off",
            ws="none",
            limit_concurrency=_CONNECTIONS,
            timeout_graceful_shutdown=1,
            server_header=False,
            proxy_headers=False,
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)

    def __enter__(self) -> Self:
        """Begin to serve."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop; a browser that still reads is cut off."""
        self._server.should_exit = True
        self._thread.join(_TO_STOP)
        self._socket.close()

    def _run(self) -> None:
        self._server.run(sockets=[self._socket])


def names_of(host: str, port: int) -> frozenset[str]:
    """Return the names that a page is asked for by: browsers leave out the port that is usual."""
    names = {host, "localhost"} if host == _HERE else {host}
    return frozenset({f"{name}:{port}" for name in names} | (names if port == _USUAL else set()))


def _listening(host: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
        made.listen(_CONNECTIONS)
    except OSError as error:
        made.close()
        raise ChipsongError(f"no page on port {port} ({error.strerror}): choose another --port") from error
    return made


def _address_on_network() -> str:
    """Return this computer's address on its network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ANYWHERE)  # tells which way it would go; sends nothing
            return str(asking.getsockname()[0])
        except OSError as error:
            raise ChipsongError(f"no network to share on ({error.strerror}): leave --share out") from error


def shown(server: Server, path: str, sharing: Sharing) -> str:
    """Return what to tell a person: the address, a code for a phone's camera, and what sharing means."""
    address = server.address + path
    if not sharing.share:
        return f"The page: {address}  (this computer alone)"
    import segno  # noqa: PLC0415 - only here

    code = io.StringIO()
    segno.make(address, error="m").terminal(out=code, compact=True)
    return (
        f"The page: {address}\n"
        "Whoever on this network sees this address can look, listen and press its buttons, and it goes over\n"
        f"the network unencrypted.\n{code.getvalue()}".rstrip()
    )
