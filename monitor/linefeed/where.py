"""From what the user says after ``--lines`` to a source."""

import re
from pathlib import Path
from urllib.parse import quote, unquote

from monitor.broker import address, broker_of, is_broker
from monitor.linefeed.agent import Agent
from monitor.linefeed.growing import GrowingFile
from monitor.linefeed.mqtt import MqttTopic
from monitor.linefeed.sockets import TcpPort, UdpPort
from monitor.linefeed.source import Source
from monitor.linefeed.standard_input import StandardInput

_FORMS = (
    "a file, - for standard input, tcp:PORT, udp:PORT, mqtt://HOST/TOPIC or mtconnect+http://HOST:PORT/DEVICE"
)
_NO_PORT = "a port is a number from 1 to 65535"
_PORT = re.compile(r"(tcp|udp):(\d+)")
_MEANT_AS_PORT = re.compile(r"(tcp|udp)(:.*)?", re.IGNORECASE)
_ELSEWHERE = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


def source_of(where: str) -> Source:
    """
    Return the source that is meant.

    Raises
    ------
    ValueError
        When none is; the text says which there are.
    """
    if where == "-":
        return StandardInput()
    if found := _PORT.fullmatch(where):
        port = int(found[2])
        if not 0 < port < 65_536:
            raise ValueError(_NO_PORT)
        return TcpPort(port) if found[1] == "tcp" else UdpPort(port)
    if _ELSEWHERE.match(where):
        return _elsewhere(where)
    # None of these ever becomes a file with lines: it would be waited for in vain.
    if _MEANT_AS_PORT.fullmatch(where):
        raise ValueError(f"'{where}' names no port: write tcp:5555 or udp:5555; {_NO_PORT}")
    if Path(where).is_dir():
        raise ValueError(f"'{where}' is a folder: give {_FORMS}")
    return GrowingFile(Path(where))


def is_file(where: str) -> bool:
    """
    Return whether a file is meant.

    Raises
    ------
    ValueError
        When nothing is.
    """
    return isinstance(source_of(where), GrowingFile)


def _elsewhere(where: str) -> Source:
    url = address(where)
    try:
        broker = broker_of(url)
    except ValueError:
        raise ValueError(_NO_PORT) from None
    topic = unquote(url.path[1:])
    if is_broker(url) and topic:
        return MqttTopic(url.hostname or "", topic, *broker)
    if url.scheme in ("mtconnect+http", "mtconnect+https") and url.hostname and url.username is None:
        device, _, path = url.path.strip("/").partition(quote("#"))
        base = f"{url.scheme.removeprefix('mtconnect+')}://{url.netloc}"
        return Agent(base, device.strip("/"), unquote(path))
    raise ValueError(f"'{url.scheme}://...' is no source of line numbers: give {_FORMS}")
