"""
An agent for tests: it serves what the MTConnect standard says that an agent serves, over HTTP.

Each document that goes out is checked, in `against_the_schema`, by rules that were read in the published
schema of the Streams document, version 1.4: the order Header, Streams, DeviceStream, ComponentStream, Samples
before Events, neither of these two empty; the attributes that must be there; whole sequence numbers from 1;
dateTimes; numbers by the schema's pattern. That LINE_NUMBER is ABSOLUTE from the program's beginning and
INCREMENTAL from the last LINE_LABEL is the standard's own definition. From memory are the states of
execution, the Error document (an ``Error`` with ``errorCode``) and its status 404. The schema itself, which
is not part of this project, was not run over the documents.
"""

import http.server
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple
from urllib.parse import parse_qs, urlsplit
from xml.etree import ElementTree as ET

NAMESPACE = "urn:mtconnect.org:MTConnectStreams:1.4"
_WHEN = "2026-11-28T13:05:09.125Z"  # an hour off, and it does not matter
_HEAD = {
    "version",
    "creationTime",
    "nextSequence",
    "lastSequence",
    "firstSequence",
    "instanceId",
    "sender",
    "bufferSize",
}
_DATE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([Ee][+-]?\d+)?|UNAVAILABLE")
_EXECUTION = {
    "READY", "ACTIVE", "INTERRUPTED", "FEED_HOLD", "STOPPED", "OPTIONAL_STOP", "PROGRAM_STOPPED",
    "PROGRAM_COMPLETED", "UNAVAILABLE",
}  # fmt: skip


class Seen(NamedTuple):
    """An observation."""

    sequence: int
    device: str
    path: str
    kind: str
    sub_type: str
    value: str


class TestAgent:
    """An agent with one or several devices, and paths; a test tells it what it observes."""

    __test__ = False

    def __init__(self, room: int = 100) -> None:
        self.instance = 1764338709
        self.room = room
        self.samples = True
        self.asked: list[str] = []
        self.port = 0
        self._first = 1
        self._seen: list[Seen] = []
        self._lock = threading.Lock()

    def observe(
        self, kind: str, value: object, sub_type: str = "", device: str = "router", path: str = "path"
    ) -> None:
        """Take in that something has a new value."""
        with self._lock:
            number = self._first + len(self._seen)
            self._seen.append(Seen(number, device, path, kind, sub_type, str(value)))

    def restart(self) -> None:
        """Begin anew: all is forgotten, and numbers count from 1."""
        with self._lock:
            self.instance += 1000
            self._seen.clear()

    def answer(self, path: str) -> tuple[int, str]:
        """Return the status and the document for a request."""
        url = urlsplit(path)
        self.asked.append(path)
        *device, what = url.path.strip("/").split("/")
        with self._lock:
            devices = {seen.device for seen in self._seen} or {"router"}
            if device and device[0] not in devices:
                return 404, _error("NO_DEVICE", f"Could not find the device '{device[0]}'")
            mine = [seen for seen in self._seen if not device or seen.device == device[0]]
            if what == "current":
                latest = {seen[1:5]: seen for seen in mine}
                return 200, self._document(list(latest.values()), self._first + len(self._seen))
            if what == "sample" and self.samples:
                return self._sample(mine, parse_qs(url.query))
        return 404, _error("UNSUPPORTED", f"The request '{what}' is not supported")

    def _sample(self, mine: list[Seen], query: dict[str, list[str]]) -> tuple[int, str]:
        begin, count = int(query["from"][0]), int(query["count"][0])
        end = self._first + len(self._seen)
        oldest = max(self._first, end - self.room)
        if not oldest <= begin <= end or not 0 < count <= self.room:
            return 404, _error("OUT_OF_RANGE", f"'from' must be from {oldest} to {end}")
        kept = [seen for seen in mine if begin <= seen.sequence < begin + count]
        return 200, self._document(kept, min(begin + count, end))

    def _document(self, seen: list[Seen], following: int) -> str:
        last = max(self._first + len(self._seen) - 1, 1)
        streams = "".join(
            f'<DeviceStream name="{device}" uuid="{device}-1">'
            f"{_streams([one for one in seen if one.device == device])}</DeviceStream>"
            for device in dict.fromkeys(one.device for one in seen)
        )
        text = (
            f'<?xml version="1.0" encoding="UTF-8"?><MTConnectStreams xmlns="{NAMESPACE}">'
            f'<Header version="1.4.0.0" creationTime="{_WHEN}" '
            f'nextSequence="{following}" lastSequence="{last}" '
            f'firstSequence="{max(self._first, last + 1 - self.room)}" instanceId="{self.instance}" '
            f'sender="shop" bufferSize="{self.room}"/><Streams>{streams}</Streams></MTConnectStreams>'
        )
        against_the_schema(text)
        return text


def _streams(seen: list[Seen]) -> str:
    """Return a device's component streams: the spindle's samples and the events of each path."""
    speeds = [one for one in seen if one.kind == "RotaryVelocity"]
    others = [one for one in seen if one.kind != "RotaryVelocity"]
    written = _component("Rotary", "rotary", "Samples", speeds)
    for path in sorted({one.path for one in others}):
        written += _component("Path", path, "Events", [one for one in others if one.path == path])
    return written


def _component(component: str, number: str, group: str, seen: list[Seen]) -> str:
    inside = "".join(
        f'<{one.kind} dataItemId="{number}{one.kind.lower()}{one.sub_type.lower()}" timestamp="{_WHEN}" '
        f'sequence="{one.sequence}"'
        + (f' subType="{one.sub_type}"' if one.sub_type else "")
        + f">{one.value}</{one.kind}>"
        for one in seen
    )
    stream = f'<ComponentStream component="{component}" componentId="{number}">'
    return f"{stream}<{group}>{inside}</{group}></ComponentStream>" if inside else ""


def _error(code: str, text: str) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8"?><MTConnectError xmlns="urn:mtconnect.org:MTConnectError:1.4">'
        f'<Header version="1.4.0.0" creationTime="{_WHEN}" instanceId="1" sender="shop" bufferSize="100"/>'
        f'<Errors><Error errorCode="{code}">{text}</Error></Errors></MTConnectError>'
    )


def against_the_schema(text: str) -> None:
    """Check a Streams document by those rules of the schema that are listed above."""
    space = f"{{{NAMESPACE}}}"
    root = ET.fromstring(text)  # noqa: S314 - our own
    assert root.tag == f"{space}MTConnectStreams"
    header, streams = root
    assert (header.tag, streams.tag) == (f"{space}Header", f"{space}Streams")
    assert header.attrib.keys() >= _HEAD
    assert _DATE.fullmatch(header.attrib["creationTime"])
    for name in ("nextSequence", "lastSequence", "firstSequence", "instanceId", "bufferSize"):
        assert int(header.attrib[name]) >= 1
    for device in streams:
        assert device.tag == f"{space}DeviceStream"
        assert device.attrib.keys() >= {"name", "uuid"}
        for component in device:
            assert component.tag == f"{space}ComponentStream"
            assert component.attrib.keys() >= {"component", "componentId"}
            groups = [group.tag.removeprefix(space) for group in component]
            assert groups in (["Samples"], ["Events"], ["Samples", "Events"])
            for seen in (seen for group in component for seen in group):
                _check(seen, seen.tag.removeprefix(space))
            assert all(len(group) for group in component)


def _check(seen: ET.Element, kind: str) -> None:
    assert int(seen.attrib["sequence"]) >= 1
    assert _DATE.fullmatch(seen.attrib["timestamp"])
    assert re.fullmatch(r"[\w.:-]+", seen.attrib["dataItemId"])
    value, sub_type = seen.text or "", seen.get("subType")
    match kind:
        case "LineNumber":
            assert sub_type in {"ABSOLUTE", "INCREMENTAL"}
            assert re.fullmatch(r"\d+|UNAVAILABLE", value)
        case "RotaryVelocity":
            assert sub_type in {None, "ACTUAL", "COMMANDED", "PROGRAMMED"}
            assert _NUMBER.fullmatch(value)
        case "Execution":
            assert value in _EXECUTION
        case _:
            assert kind == "LineLabel"


@contextmanager
def serving(agent: TestAgent, port: int = 0) -> Iterator[None]:
    """Let an agent answer, and note its port."""

    class Answering(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            status, text = agent.answer(self.path)
            body = text.encode()
            self.send_response(status)
            self.send_header("Content-Type", "text/xml")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", port), Answering) as server:
        agent.port = server.server_port
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield
        finally:
            server.shutdown()
            thread.join()
