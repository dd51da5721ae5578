"""An MTConnect agent as a source; `agent_server.py` says what was checked of its documents."""

import http.server
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pytest
from agent_server import Seen, TestAgent, serving
from receivers import HERE, free_port, silent_server, web_server

from monitor.linefeed.agent import Agent
from monitor.linefeed.agent import agent as asking
from monitor.linefeed.agent.document import AgentError, read_document
from monitor.linefeed.reading import Said
from monitor.linefeed.source import LineFeedError
from monitor.linefeed.where import source_of

Gather = Callable[..., "Gathered"]  # noqa: F821 - of conftest.py


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ask more often than a workshop needs."""
    monkeypatch.setattr(asking, "_OFTEN", 0.02)


def cutting(line: int = 47) -> TestAgent:
    """An agent whose machine executes a line."""
    agent = TestAgent()
    agent.observe("Execution", "ACTIVE")
    agent.observe("LineNumber", line, "ABSOLUTE")
    return agent


def of(agent: TestAgent, device: str = "router") -> Agent:
    """The source that asks it."""
    source = source_of(f"mtconnect+http://{HERE}:{agent.port}/{device}")
    assert isinstance(source, Agent)
    return source


def test_lines_are_given_as_they_are_observed(gather: Gather):
    """What holds at first is given, then each line that follows, none twice; the spindle's speed too."""
    agent = cutting()
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: had.lines == [47])
        agent.observe("RotaryVelocity", "18012.5", "ACTUAL")
        for line in range(48, 60):
            agent.observe("LineNumber", line, "ABSOLUTE")
        had.until(lambda had: had.lines == list(range(47, 60)))
        assert had.turns == [""]
        assert had.machine[-1] == {"execution": "ACTIVE", "rotary_velocity": 18012.5}
        assert agent.asked[0] == "/router/current"
        assert agent.asked[1] == "/router/sample?from=3&count=100"


def test_a_line_that_lasts_is_given_again(gather: Gather, monkeypatch: pytest.MonkeyPatch):
    """A long move is no silence: while the agent answers, its line number holds."""
    monkeypatch.setattr(asking, "_HOLDS", 0.05)
    agent = cutting(12)
    with serving(agent):
        gather(of(agent)).until(lambda had: had.lines == [12, 12, 12])


def test_incremental_numbers_count_from_the_label(gather: Gather):
    """A label is an N-word, and not a line of the file; the numbers after it are kept with it."""
    agent = TestAgent()
    for kind, value, sub_type in (("LineLabel", "N120", ""), ("LineNumber", 3, "INCREMENTAL")):
        agent.observe(kind, value, sub_type)
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: Said(None, 120, after=3) in had.said)
        agent.observe("LineNumber", 4, "INCREMENTAL")
        agent.observe("LineLabel", "N130")
        had.until(lambda had: had.said[-1] == Said(None, 130))
        assert Said(None, 120, after=4) in had.said


def test_incremental_numbers_alone_name_no_line(gather: Gather):
    """Without a label nobody knows from where they count, and that is said."""
    agent = TestAgent()
    agent.observe("LineNumber", 3, "INCREMENTAL")
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: "INCREMENTAL line numbers without LINE_LABEL" in repr(had.turns))
        assert had.said == []


def test_what_is_not_executed_names_no_line(gather: Gather):
    """A program that is only loaded, and a machine that is off, are not being cut; each of these is said."""
    agent = TestAgent()
    agent.observe("Execution", "READY")
    agent.observe("LineNumber", 1, "ABSOLUTE")
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: had.turns == ["the controller is READY: no line is being cut"])
        assert had.said == []
        agent.observe("Execution", "ACTIVE")
        had.until(lambda had: had.lines == [1] and had.turns[-1] == "")
        agent.observe("LineNumber", "UNAVAILABLE", "ABSOLUTE")
        agent.observe("RotaryVelocity", "UNAVAILABLE")
        had.until(lambda had: "UNAVAILABLE" in had.turns[-1])
        agent.observe("LineNumber", 2, "ABSOLUTE")
        had.until(lambda had: had.lines == [1, 2] and had.turns[-1] == "")


def test_an_agent_that_was_started_again_is_followed(gather: Gather):
    """Its instance is another one and its numbers begin anew: what holds now is asked for."""
    agent = cutting()
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: had.lines == [47])
        agent.restart()
        agent.observe("LineNumber", 3, "ABSOLUTE")
        had.until(lambda had: had.lines == [47, 3])
        agent.observe("LineNumber", 4, "ABSOLUTE")
        had.until(lambda had: had.lines == [47, 3, 4])


def test_what_the_agent_forgot_does_not_end_it(gather: Gather):
    """More was observed than it keeps: OUT_OF_RANGE is answered by asking for what holds now."""
    agent = cutting()
    agent.room = 5
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: had.lines == [47])
        with agent._lock:  # noqa: SLF001 - all at once, between two questions
            agent._seen += [  # noqa: SLF001
                Seen(3 + n, "router", "path", "LineNumber", "ABSOLUTE", str(100 + n)) for n in range(50)
            ]
        had.until(lambda had: had.lines[-1] == 149)
        agent.observe("LineNumber", 150, "ABSOLUTE")
        had.until(lambda had: had.lines[-1] == 150)
        assert agent.asked[-1].startswith("/router/sample")


def test_an_agent_without_samples_is_polled(gather: Gather):
    """Where only what holds now can be asked for, that is asked for."""
    agent = cutting()
    agent.samples = False
    with serving(agent):
        had = gather(of(agent))
        had.until(lambda had: had.lines == [47])
        agent.observe("LineNumber", 48, "ABSOLUTE")
        had.until(lambda had: 48 in had.lines)


def test_one_that_is_gone_comes_back_by_itself(gather: Gather):
    """It is said that it is not reached, and it is asked again and again."""
    agent = cutting()
    port = free_port()
    agent.port = port
    had = gather(of(agent))
    had.until(lambda had: bool(had.turns))
    assert "the agent is not reached (" in had.turns[0]
    with serving(agent, port):
        had.until(lambda had: had.lines == [47] and had.turns[-1] == "")


def test_several_devices_want_a_name(gather: Gather):
    """Without one it is said which there are; with one that is not there, what the agent says."""
    agent = cutting()
    agent.observe("LineNumber", 7, "ABSOLUTE", device="lathe")
    with serving(agent):
        had = gather(of(agent, ""))
        had.until(
            lambda had: "several devices: name one behind the port, /router or /lathe" in repr(had.turns)
        )
        gather(of(agent, "lathe")).until(lambda had: had.lines == [7])
        other = gather(of(agent, "mill"))
        other.until(lambda had: "Could not find the device 'mill'" in repr(had.turns))


def test_of_several_paths_the_first_is_followed_also_after_the_agent_was_away(gather: Gather):
    """What stands beside it has told its own long ago, and says nothing for it; a person may name it."""
    agent, port = TestAgent(), free_port()
    for path, state, line in (("path2", "STOPPED", 3), ("path1", "ACTIVE", 470)):
        agent.observe("LineNumber", line, "ABSOLUTE", path=path)
        agent.observe("Execution", state, path=path)
    with serving(agent, port):
        had = gather(of(agent))
        had.until(lambda had: had.lines == [470])
        gather(of(agent, "router#path2")).until(lambda had: had.lines == [3] and not had.remarks)
    had.until(lambda had: "not reached" in had.turns[-1])
    agent.observe("LineNumber", "UNAVAILABLE", "ABSOLUTE", path="path1")
    with serving(agent, port):
        had.until(lambda had: "UNAVAILABLE" in had.turns[-1])
        agent.observe("LineNumber", 471, "ABSOLUTE", path="path1")
        had.until(lambda had: had.lines == [470, 471])
        other = gather(of(agent, "router#path3"))
        other.until(lambda had: "has those of path1, path2" in repr(had.turns))
    assert set(had.remarks) == {"path1 is followed; for path2 add #path2 to the address"}


def test_what_is_no_agent_is_said(gather: Gather, monkeypatch: pytest.MonkeyPatch):
    """Another web server, and one that never says a word, are each a trouble in words."""
    monkeypatch.setattr(asking, "_LIMIT", 0.2)
    with web_server() as web, silent_server() as port:
        web.answers = [404]
        there = gather(Agent(f"http://{HERE}:{web.port}", "router"))
        there.until(lambda had: had.turns[-1:] == ["the agent answers 404: check host, port and device"])
        mute = gather(Agent(f"http://{HERE}:{port}"))
        mute.until(lambda had: "not reached" in repr(had.turns) or "not over" in repr(had.turns))


class Dripping(http.server.ThreadingHTTPServer):
    """An agent that answers a byte now and then, and counts who waits for more."""

    daemon_threads = True

    def __init__(self, begins: bytes) -> None:
        super().__init__((HERE, 0), DrippingAnswer)
        self.begins = begins
        self.over = threading.Event()
        self.asked: list[str] = []
        self.waiting: list[str] = []
        self.most = 0


class DrippingAnswer(http.server.BaseHTTPRequestHandler):
    """An answer that never ends."""

    server: Dripping

    def do_GET(self) -> None:
        """Go on until nobody listens."""
        self.server.asked.append(self.path)
        self.server.waiting.append(self.path)
        self.server.most = max(self.server.most, len(self.server.waiting))
        self.close_connection = True
        with suppress(OSError):
            self.wfile.write(self.server.begins)
            while not self.server.over.wait(0.01):
                self.wfile.write(b"a")
        self.server.waiting.pop()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def dripping(begins: bytes) -> Iterator[Dripping]:
    """Let an agent drip."""
    with Dripping(begins) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield server
        finally:
            server.over.set()
            server.shutdown()
            thread.join()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait less than for an agent far away."""
    monkeypatch.setattr(asking, "_LIMIT", 0.3)
    monkeypatch.setattr(asking, "_MORE", 0.2)
    monkeypatch.setattr("monitor.linefeed.worker._SOON", 0.02)


@pytest.mark.usefixtures("impatient")
@pytest.mark.parametrize("status", [b"200 OK", b"404 Not Found"])
def test_an_answer_that_drips_is_closed(gather: Gather, status: bytes):
    """Before the agent is asked again the answer before is let go, so that they do not pile up."""
    with dripping(b"HTTP/1.1 " + status + b"\r\nContent-Type: text/xml\r\n\r\n") as server:
        had = gather(Agent(f"http://{HERE}:{server.server_port}"))
        had.until(lambda _: len(server.asked) > 1)
        had.worker.close()
        had.until(lambda _: server.waiting == [])
    assert "the agent does not answer within 0.5 s; trying again" in had.turns


@pytest.mark.slow
@pytest.mark.usefixtures("impatient")
def test_an_agent_that_hangs_is_left_hanging_once(gather: Gather):
    """Even where the head of its answer never ends: while it is waited for, no other is begun."""
    with dripping(b"HTTP/1.1 200 OK\r\nX-Long: ") as server:
        had = gather(Agent(f"http://{HERE}:{server.server_port}"))
        had.until(lambda had: len(had.turns) > 2)
        assert (server.asked, server.most) == (["/current"], 1)
    assert "the agent does not answer within 0.5 s; trying again" in had.turns


HEAD = '<Header instanceId="1" nextSequence="2" bufferSize="3"/>'


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<html>",
        "<html/>",
        "<MTConnectStreams/>",
        "<MTConnectStreams><Header/></MTConnectStreams>",
        f"<MTConnectStreams>{HEAD.replace('2', 'two')}</MTConnectStreams>",
        '<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;">]><MTConnectStreams>&c;</MTConnectStreams>',
        f"<MTConnectStreams>{HEAD}&b;</MTConnectStreams>",
    ],
)
def test_what_cannot_be_read_is_a_trouble(text: str):
    """No document, half of one, one without what must be there, one with entities of its own."""
    with pytest.raises(LineFeedError):
        read_document(text)


def test_an_error_tells_its_code():
    """The standard's name for what went wrong, and the agent's own words."""
    error = "<Error errorCode='OUT_OF_RANGE'>from  9</Error>"
    text = f"<MTConnectError><Header/><Errors>{error}</Errors></MTConnectError>"
    with pytest.raises(AgentError, match="the agent refuses: from 9") as raised:
        read_document(text)
    assert raised.value.codes == ("OUT_OF_RANGE",)
