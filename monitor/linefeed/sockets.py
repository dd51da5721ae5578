"""A TCP or UDP port of this computer, to which other programs on it write lines."""

import errno
import re
import selectors
import socket
from contextlib import ExitStack
from dataclasses import dataclass, field

from monitor.linefeed.source import LineFeedError, Outlet
from monitor.linefeed.splitting import Splitter

# From other computers nobody can write to it.
_HERE = "127.0.0.1"
_PIECE, _OFTEN = 65_536, 0.2
# How a browser begins. Any page in one may send to this computer's ports whatever it likes, after this.
_BROWSER = re.compile(r"(GET|HEAD|POST|OPTIONS|PUT|PATCH|DELETE) [/*]")


@dataclass(frozen=True)
class TcpPort:
    """Lets programs of this computer in, and gives what they write."""

    port: int

    @property
    def name(self) -> str:
        """How it is said."""
        return f"tcp:{self.port}"

    def run(self, out: Outlet) -> None:
        """Give lines; whoever has closed its end may come again."""
        with ExitStack() as stack:
            selector = stack.enter_context(selectors.DefaultSelector())
            stack.callback(_close_all, selector)
            door = stack.enter_context(_bound(socket.SOCK_STREAM, self.port))
            door.listen()
            selector.register(door, selectors.EVENT_READ)
            out.fine()
            while not out.over.is_set():
                for key, _ in selector.select(_OFTEN):
                    if key.fileobj is door:
                        caller, _ = door.accept()
                        caller.settimeout(0)
                        selector.register(caller, selectors.EVENT_READ, _Caller(caller))
                    else:
                        _read(selector, key.data, out)


@dataclass(frozen=True)
class UdpPort:
    """Gives the lines of datagrams from programs of this computer."""

    port: int

    @property
    def name(self) -> str:
        """How it is said."""
        return f"udp:{self.port}"

    def run(self, out: Outlet) -> None:
        """Give lines; each datagram holds whole ones."""
        with _bound(socket.SOCK_DGRAM, self.port) as door:
            door.settimeout(_OFTEN)
            out.fine()
            while not out.over.is_set():
                try:
                    came = door.recv(_PIECE)
                except TimeoutError:
                    continue
                for line in Splitter().feed(came + b"\n"):
                    out.text(line)


def _bound(kind: socket.SocketKind, port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET, kind)
    try:
        if kind is socket.SOCK_STREAM:
            door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        door.bind((_HERE, port))
    except OSError as error:
        door.close()
        why = "another program has it" if error.errno == errno.EADDRINUSE else error.strerror
        raise LineFeedError(f"port {port} cannot be opened ({why}): choose another") from error
    return door


@dataclass
class _Caller:
    """A program that writes to the port."""

    socket: socket.socket
    lines: Splitter = field(default_factory=Splitter)
    known: bool = False

    def read(self) -> tuple[list[str], bool]:
        """Return the lines that have come, and whether more may; none come from a browser."""
        try:
            came = self.socket.recv(_PIECE)
        except OSError:
            came = b""
        lines = self.lines.feed(came)
        if lines and not self.known:
            self.known = True
            if _BROWSER.match(lines[0]):
                self.lines.forget()
                return [], False
        return lines, bool(came)


def _read(selector: selectors.BaseSelector, caller: _Caller, out: Outlet) -> None:
    lines, more = caller.read()
    for line in lines:
        out.text(line)
    if not more:
        out.torn(caller.lines.end())
        selector.unregister(caller.socket)
        caller.socket.close()


def _close_all(selector: selectors.BaseSelector) -> None:
    for key in selector.get_map().values():
        if isinstance(key.fileobj, socket.socket):
            key.fileobj.close()
