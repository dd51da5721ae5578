"""Bytes as they come become lines of text."""

import re

# Some programs end a line with either, some with both.
_END = re.compile(rb"[\r\n]")
# Bytes of a line that is still to end; what is longer is no line.
_LONGEST = 65_536


class Splitter:
    """Keeps the beginning of a line until its end comes."""

    def __init__(self) -> None:
        self._rest = b""
        self._amid = False

    def feed(self, came: bytes) -> list[str]:
        """Return the lines that have ended, without empty ones; of one that is too long, what there is."""
        *whole, self._rest = _END.split(self._rest + came)
        if len(self._rest) > _LONGEST:
            whole, self._rest = [*whole, self._rest], b""
        if self._amid and whole:
            whole, self._amid = whole[1:], False
        return [line.decode("utf-8", "replace") for line in whole if line]

    def end(self) -> str:
        """Return what there is of a line that will not end any more, and let go of it."""
        rest, self._rest = self._rest, b""
        return rest.decode("utf-8", "replace")

    def forget(self, *, amid: bool = False) -> None:
        """Let go of a line that will not end any more, and of the next where its beginning is not seen."""
        self._rest, self._amid = b"", amid
