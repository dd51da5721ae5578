"""A TCP or UDP port of this computer, to which other programs on it write lines."""

import errno
import selectors
import socket
from contextlib import ExitStack
from dataclasses import dataclass

from monitor.linefeed.source import LineFeedError, Outlet
from monitor.linefeed.splitting import Splitter

# From other computers nobody can write to it.
_HERE = "127.0.0.1"
_PIECE, _OFTEN = 65_536, 0.2


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
        with ExitStack() as stack, selectors.DefaultSelector() as selector:
            door = stack.enter_context(_bound(socket.SOCK_STREAM, self.port))
            door.listen()
            selector.register(door, selectors.EVENT_READ)
            stack.callback(_close_all, selector)
            out.fine()
            while not out.over.is_set():
                for key, _ in selector.select(_OFTEN):
                    if key.fileobj is door:
                        caller, _ = door.accept()
                        caller.settimeout(0)
                        selector.register(caller, selectors.EVENT_READ, Splitter())
                    else:
                        _read(selector, key, out)


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


def _read(selector: selectors.BaseSelector, key: selectors.SelectorKey, out: Outlet) -> None:
    caller = key.fileobj
    assert isinstance(caller, socket.socket)  # noqa: S101 - for the types: only such are registered
    try:
        came = caller.recv(_PIECE)
    except OSError:
        came = b""
    for line in key.data.feed(came or b"\n"):
        out.text(line)
    if not came:
        selector.unregister(caller)
        caller.close()


def _close_all(selector: selectors.BaseSelector) -> None:
    for key in list(selector.get_map().values()):
        if isinstance(key.fileobj, socket.socket):
            key.fileobj.close()
