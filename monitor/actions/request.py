"""An HTTP request."""

import http.client
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit

from monitor.actions.kind import ActionError
from monitor.actions.message import Message


@dataclass(frozen=True)
class Request:
    """
    Sends a request, by default the event as JSON.

    Attributes
    ----------
    url
        Where to.
    method
        ``POST``, ``PUT`` or ``GET``; the last has no body.
    headers
        More of them.
    body
        What is sent in place of the event.
    """

    acts: ClassVar[bool] = True

    url: str
    method: str = "POST"
    headers: Mapping[str, str] = field(default_factory=dict)
    body: str | None = None

    def describe(self) -> str:
        """Return where to, without the path: in that there often is a key."""
        parts = urlsplit(self.url)
        port = "" if parts.port is None else f":{parts.port}"
        return f"http: {self.method} to {parts.scheme}://{parts.hostname}{port}"

    def prepare(self) -> None:
        """Load nothing."""

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Send it; any answer but one of success is a failure."""
        try:
            with _OPENER.open(self._request(message), timeout=limit) as answer:
                return f"answered {answer.status} {answer.reason}".rstrip()
        except HTTPError as error:
            with error:
                raise ActionError(f"answered {error.code} {error.reason}{_moved(error)}") from None
        except URLError as error:
            raise ActionError(f"not reached: {error.reason}") from error
        except (OSError, http.client.HTTPException) as error:
            raise ActionError(f"broke off: {str(error) or type(error).__name__}") from error

    def _request(self, message: Message) -> urllib.request.Request:
        kind = "application/json" if self.body is None else "text/plain; charset=utf-8"
        text = message.json if self.body is None else self.body
        data = None if self.method == "GET" else text.encode()
        headers = ({} if data is None else {"Content-Type": kind}) | dict(self.headers)
        return urllib.request.Request(self.url, data, headers, method=self.method)  # noqa: S310 - checked


def _moved(error: HTTPError) -> str:
    return ": write the address that it has now" if 300 <= error.code < 400 else ""


class _StayHere(urllib.request.HTTPRedirectHandler):
    """Follows nobody elsewhere: the event would get lost on the way, and perhaps the key."""

    def redirect_request(self, *_: Any) -> None:  # noqa: ANN401
        """Refuse."""


_OPENER = urllib.request.build_opener(_StayHere)
