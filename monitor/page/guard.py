"""
Who may come in: every request passes here first, before anything else reads it.

The page has no password; three things keep strangers out. It listens on this computer alone, unless it is
shared; then its address holds a token that cannot be guessed. A page of another site that the same browser
has open may send requests here too, also under a name of its own that it lets point to this computer: so the
name asked for, and where a request comes from, must be ours.
"""

import asyncio
import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY, LONGEST_ADDRESS = 4096, 2048
"""Bytes that a request may bring, and those of its address."""

RECUT, LARGEST_RECUT = "recut.ngc", 65536
"""What addresses end with to which the names of parts are brought, of some thousands, and their bytes."""

_BODY_WITHIN = 5.0  # s

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; "
        # The library that draws the timeline adds an empty style element, and fills it by script.
        "style-src 'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='; "
        "img-src 'self' data:; media-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""What every answer says: among other things that no script or style runs but from a file of ours."""


@dataclass(frozen=True)
class Door:
    """
    Where the page is.

    Attributes
    ----------
    hosts
        The names that it may be asked for by, each with its port, and without it where that is the usual one.
    token
        What every address begins with; empty where only this computer comes in.
    """

    hosts: frozenset[str]
    token: str = ""

    @property
    def prefix(self) -> str:
        """What stands before every path."""
        return f"/{self.token}" if self.token else ""


class Refused(Exception):  # noqa: N818 - what it says is what the caller gets
    """A request that is turned away, with the status and the words that it gets."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Guard:
    """
    Turns away what may not come in, and puts ``HEADERS`` on every answer.

    Parameters
    ----------
    app
        What gets the others, with the token taken off their path and their whole body at hand.
    door
        Where the page is.
    """

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request, or refuse it."""
        if scope["type"] != "http":
            return  # nothing else is spoken here; the server closes it

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = _with_ours(message.get("headers", []))
            await send(message)

        try:
            inner = self._admitted(scope)
            largest = LARGEST_RECUT if inner["path"].endswith(f"/{RECUT}") else LARGEST_BODY
            body = await asyncio.wait_for(_body(scope, receive, largest), _BODY_WITHIN)
        except Refused as refused:
            response = PlainTextResponse(f"{refused}\n", status_code=refused.status)
            await response(scope, receive, answer)
        except TimeoutError:
            await PlainTextResponse("too slow\n", status_code=408)(scope, receive, answer)
        else:
            await self._app(inner, _replay(body, receive), answer)

    def _admitted(self, scope: Scope) -> dict[str, Any]:
        """Return the scope that the app gets; raise `Refused`."""
        headers = _headers(scope)
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise Refused(405, "only GET, HEAD and POST are understood here")
        if len(scope["raw_path"]) + len(scope["query_string"]) > LONGEST_ADDRESS:
            raise Refused(414, "the address is too long")
        host = headers.get("host", "")
        if host not in self._door.hosts:
            raise Refused(421, "this page is not known by that name")
        self._check_origin(scope["method"], host, headers)
        path = self._without_token(scope["path"])
        return {**scope, "path": path, "raw_path": path.encode()}

    def _check_origin(self, method: str, host: str, headers: Mapping[str, str]) -> None:
        """Refuse what a page of another site sends."""
        origin = headers.get("origin")
        if origin != f"http://{host}" and (origin is not None or method == "POST"):
            raise Refused(403, "this request does not come from this page")
        if headers.get("sec-fetch-site") == "cross-site" and headers.get("sec-fetch-mode") != "navigate":
            raise Refused(403, "this request does not come from this page")

    def _without_token(self, path: str) -> str:
        if not self._door.token:
            return path
        _, said, *rest = path.split("/", 2)
        if not hmac.compare_digest(said.encode(), self._door.token.encode()):
            raise Refused(404, "there is nothing here")
        return "/" + "".join(rest)


def _with_ours(headers: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Return an answer's headers with ours; how long it may be kept it may say itself."""
    said = list(headers)
    keeps = any(name.lower() == _KEPT for name, _ in said)
    ours = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
    return [*said, *((name, value) for name, value in ours if not (keeps and name == _KEPT))]


_KEPT = b"cache-control"


def _headers(scope: Scope) -> dict[str, str]:
    """Return the headers; one that is there twice, with two meanings, counts as none of ours."""
    found: dict[str, str] = {}
    for name, value in scope["headers"]:
        key = name.decode("latin-1")
        found[key] = value.decode("latin-1") if key not in found else f"{found[key]}, {value!r}"
    return found


async def _body(scope: Scope, receive: Receive, largest: int) -> bytes:
    """Return the whole body; raise `Refused` as soon as it is larger than so many bytes."""
    length = _headers(scope).get("content-length", "0")
    if not length.isdecimal() or int(length) > largest:
        raise Refused(413, "the request is too large")
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "the request was broken off")
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > largest:
            raise Refused(413, "the request is too large")
    return body


def _replay(body: bytes, receive: Receive) -> Receive:
    """Return what gives the body that was read, and then waits for the end of the connection."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
