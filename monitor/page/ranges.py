"""A part of a file, for players that ask for a sound piece by piece (RFC 9110, 14)."""

import re

from starlette.requests import Request
from starlette.responses import Response

_ONE = re.compile(r"bytes=(\d{1,12})?-(\d{1,12})?")


def ranged(request: Request, content: bytes, mime: str) -> Response:
    """Return what is asked for of ``content``: the whole, one range of it, or that there is no such."""
    headers = {"Accept-Ranges": "bytes"}
    asked = _ONE.fullmatch(request.headers.get("range", ""))
    if asked is None or asked.groups() == (None, None):
        return Response(content, media_type=mime, headers=headers)
    size = len(content)
    if asked[1] is None:
        first, last = max(0, size - int(asked[2])), size - 1
    else:
        first, last = int(asked[1]), min(int(asked[2] or size - 1), size - 1)
    if first > last:
        return Response(status_code=416, headers={"Content-Range": f"bytes */{size}"})
    headers["Content-Range"] = f"bytes {first}-{last}/{size}"
    return Response(content[first : last + 1], status_code=206, media_type=mime, headers=headers)
