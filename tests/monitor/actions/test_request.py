"""The HTTP request, to a real web server."""

import json
import queue
import time

import pytest
from receivers import HERE, Web, dripping_server, free_port, silent_server, web_server

from monitor.actions import Action, Crew, Done
from monitor.actions.kind import ActionError
from monitor.actions.message import rehearsal
from monitor.actions.request import Request

TEST = rehearsal("deaf")


def test_the_event_arrives_as_json(web: Web):
    """A POST with the event's JSON arrives at the path that was written, and the answer is told."""
    assert Request(web.url("/hook?key=1")).fire(TEST, 5.0) == "answered 204 No Content"
    (got,) = web.received
    assert (got.method, got.path) == ("POST", "/hook?key=1")
    assert got.headers["Content-Type"] == "application/json"
    assert json.loads(got.body) == TEST.body


@pytest.mark.parametrize(("method", "body"), [("PUT", "relay=off ü".encode()), ("GET", b"")])
def test_what_the_user_wrote_is_sent_instead(web: Web, method: str, body: bytes):
    """Method, headers and body are the user's; a GET has no body."""
    Request(web.url(), method, {"X-Key": "secret"}, "relay=off ü").fire(TEST, 5.0)
    (got,) = web.received
    assert (got.method, got.headers["X-Key"], got.body) == (method, "secret", body)


@pytest.mark.parametrize("status", [301, 302, 307, 400, 404, 500, 503])
def test_only_success_is_a_success(web: Web, status: int):
    """Any other answer is a failure with its number, and nobody is followed to another address."""
    web.answers = [status]
    with pytest.raises(ActionError, match=f"answered {status} "):
        Request(web.url()).fire(TEST, 5.0)
    assert [got.path for got in web.received] == ["/"]


def test_a_server_that_is_down_is_told():
    """Where nothing listens, that is said."""
    with pytest.raises(ActionError, match=r"not reached: .*refused"):
        Request(f"http://{HERE}:{free_port()}/").fire(TEST, 5.0)


def test_a_server_that_says_nothing_is_not_waited_for():
    """One that takes the request and never answers is given up at the limit."""
    with silent_server() as port:
        begun = time.monotonic()
        with pytest.raises(ActionError, match="timed out"):
            Request(f"http://{HERE}:{port}/").fire(TEST, 0.3)
        assert time.monotonic() - begun < 20.0


def test_a_receiver_that_is_down_is_tried_again():
    """A server that comes up after the first try has failed gets the event, once."""
    port, told = free_port(), queue.SimpleQueue[Done]()
    url = f"http://{HERE}:{port}/"
    crew = Crew([Action("hook", Request(url), frozenset({"deaf"}), 5.0, 10)], told.put, pause=0.2)
    crew.send(TEST)
    time.sleep(0.1)
    with web_server(port) as web:
        done = told.get(timeout=60)
        assert done.ok
        assert done.said.startswith("answered 204 No Content (")
        assert len(web.received) == 1
    crew.finish(2)


def test_a_server_that_dies_on_the_way_is_tried_again(web: Web):
    """Answers of failure are tried again until one is a success."""
    web.answers = [503, 500, 200]
    told = queue.SimpleQueue[Done]()
    crew = Crew([Action("hook", Request(web.url()), frozenset({"deaf"}), 5.0, 3)], told.put, pause=0.05)
    crew.send(TEST)
    assert told.get(timeout=60).said == "answered 200 OK (3 tries)"
    assert len(web.received) == 3
    crew.finish(2)


def test_a_server_that_drips_is_left():
    """One that answers a byte at a time, none of them late, is left when the whole takes too long."""
    told = queue.SimpleQueue[Done]()
    with dripping_server() as port:
        request = Request(f"http://{HERE}:{port}/")
        crew = Crew([Action("hook", request, frozenset({"deaf"}), 0.3, 1)], told.put)
        crew.send(TEST)
        done = told.get(timeout=60)
    assert (done.ok, done.said) == (False, "not over after 0.8 s")
    crew.finish(2)
