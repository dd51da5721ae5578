"""Lines that another program writes to this one's standard input."""

import os
import select
from dataclasses import dataclass

from monitor.linefeed.source import Outlet
from monitor.linefeed.splitting import Splitter

_PIECE, _OFTEN = 65_536, 0.2


@dataclass(frozen=True)
class StandardInput:
    """
    Gives what comes, until its end.

    Attributes
    ----------
    descriptor
        Of the open file.
    """

    name = "standard input"
    descriptor: int = 0

    def run(self, out: Outlet) -> None:
        """Give lines until the other program closes its end."""
        splitter = Splitter()
        out.fine()
        # Not through Python's own file: a thread that waits inside that would hold up the end of the process.
        while not out.over.is_set():
            if not select.select([self.descriptor], [], [], _OFTEN)[0]:
                continue
            came = os.read(self.descriptor, _PIECE)
            for line in splitter.feed(came):
                out.text(line)
            if not came:
                out.torn(splitter.end())
                return
