"""The door of the page: only what comes from the page itself, to a name that is ours, gets in; in bounds."""

import asyncio
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient
from starlette.types import Message

from monitor.page.guard import HEADERS, LARGEST_BODY, LARGEST_RECUT, Door, Guard
from monitor.page.serving import names_of

HOST = "127.0.0.1:8000"
OURS = {"Host": HOST, "Origin": f"http://{HOST}"}


async def _echo(request: Request) -> Response:
    return PlainTextResponse(f"{request.method} {request.url.path} {(await request.body()).decode()}")


def _door(token: str = "") -> TestClient:
    app = Starlette(routes=[Route("/{path:path}", _echo, methods=["GET", "POST"])])
    return TestClient(
        Guard(app, Door(frozenset({HOST}), token)), base_url=f"http://{HOST}", follow_redirects=False
    )


def test_what_comes_from_the_page_gets_in_and_every_answer_is_strict():
    """A request to our name from our page is answered; the answer forbids scripts and styles of others."""
    answer = _door().post("/press", content="kind=nothing", headers=OURS)
    assert (answer.status_code, answer.text) == (200, "POST /press kind=nothing")
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    assert "unsafe" not in answer.headers["Content-Security-Policy"]


def test_only_how_long_it_is_kept_may_an_answer_say_itself():
    """A large file that is no secret need not be fetched anew for each page; all else is ours."""

    async def large(_: Request) -> Response:
        return PlainTextResponse("script", headers={"Cache-Control": "private, max-age=9"})

    app = Guard(Starlette(routes=[Route("/", large)]), Door(frozenset({HOST})))
    answer = TestClient(app, base_url=f"http://{HOST}").get("/")
    assert answer.headers.get_list("Cache-Control") == ["private, max-age=9"]
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS | {
        "Cache-Control": "private, max-age=9"
    }


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8000", "127.0.0.1", "127.0.0.1:80", "", f"{HOST}, x"]
)
def test_a_name_that_is_not_ours_is_refused(host: str):
    """So no other site can let a name of its own lead here."""
    answer = _door().get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(("port", "known"), [(80, True), (8080, False), (8000, False)])
def test_a_name_without_its_port_is_ours_where_browsers_leave_that_out(port: int, *, known: bool):
    """They do so for port 80 alone, in Host and in Origin; to the network a page has one name."""
    here = names_of("127.0.0.1", port)
    assert {f"127.0.0.1:{port}", f"localhost:{port}"} <= here
    assert ("127.0.0.1" in here, "localhost" in here) == (known, known)
    assert ("192.0.2.7" in names_of("192.0.2.7", port)) is known
    assert not any("localhost" in name for name in names_of("192.0.2.7", port))
    door = TestClient(
        Guard(Starlette(routes=[Route("/{path:path}", _echo, methods=["POST"])]), Door(here)),
        base_url="http://127.0.0.1",
    )
    for host in ("127.0.0.1", "localhost"):
        headers = {"Host": host, "Origin": f"http://{host}"}
        assert door.post("/press", headers=headers).status_code == (200 if known else 421)


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8000", "http://127.0.0.1:8001", None]
)
def test_a_press_from_another_page_is_refused(origin: str | None):
    """A request that changes something must say that it comes from this page."""
    headers = {"Host": HOST} | ({"Origin": origin} if origin else {})
    assert _door().post("/press", content="kind=nothing", headers=headers).status_code == 403


def test_another_site_may_lead_here_but_not_read():
    """Following a link is fine; being loaded as another page's picture or script is not."""
    cross = {"Host": HOST, "Sec-Fetch-Site": "cross-site"}
    assert _door().get("/", headers=cross | {"Sec-Fetch-Mode": "navigate"}).status_code == 200
    assert _door().get("/", headers=cross | {"Sec-Fetch-Mode": "no-cors"}).status_code == 403


@pytest.mark.parametrize(
    "path", ["/", "/runs", "/wrong/runs", "/secre/runs", "/secret0/runs", "//secret/runs"]
)
def test_without_the_token_there_is_nothing(path: str):
    """Whoever does not know the token learns nothing, not even what there would be."""
    answer = _door("secret").get(path)
    assert (answer.status_code, answer.text) == (404, "there is nothing here\n")


def test_with_the_token_the_rest_of_the_path_counts():
    """The token is taken off before anything else sees the path."""
    assert _door("secret").get("/secret/runs/x").text == "GET /runs/x "
    assert _door("secret").get("/secret/").text == "GET / "


@pytest.mark.parametrize(
    ("method", "path", "content", "status"),
    [
        ("POST", "/", b"x" * (LARGEST_BODY + 1), 413),
        ("POST", "/recut.ngc", b"x" * (LARGEST_RECUT + 1), 413),
        ("POST", "/", (b"x" * 1024 for _ in range(9)), 413),
        ("GET", "/" + "x" * 3000, b"", 414),
        ("GET", "/?" + "x" * 3000, b"", 414),
        ("DELETE", "/", b"", 405),
        ("PUT", "/", b"x", 405),
    ],
)
def test_what_is_out_of_bounds_is_refused(method: str, path: str, content: Any, status: int):
    """Bodies and addresses that are too long, also without a stated length, and other methods."""
    assert _door().request(method, path, content=content, headers=OURS).status_code == status


@pytest.mark.parametrize(("length", "said"), [("-1", 413), ("x", 413), ("99999999999999999999", 413)])
def test_a_length_that_makes_no_sense_is_refused(length: str, said: int):
    """It is refused before anything is read."""
    assert asyncio.run(_status({"content-length": length}, [])) == said


def test_a_body_that_does_not_come_is_given_up(monkeypatch: pytest.MonkeyPatch):
    """Whoever sends byte by byte, or nothing, is turned away after some seconds."""
    monkeypatch.setattr("monitor.page.guard._BODY_WITHIN", 0.05)
    assert asyncio.run(_status({"content-length": "10"}, [])) == 408


def test_a_request_that_is_broken_off_harms_nothing():
    """The connection ends in the middle of the body."""
    half: Message = {"type": "http.request", "body": b"half", "more_body": True}
    assert asyncio.run(_status({"content-length": "10"}, [half, {"type": "http.disconnect"}])) == 400


async def _status(headers: dict[str, str], messages: list[Message]) -> int:
    """Return how a POST with these headers, of which these messages arrive and then nothing, is answered."""
    said: list[Message] = []
    waiting = iter(messages)

    async def receive() -> Message:
        message = next(waiting, None)
        return message if message is not None else await asyncio.Future()

    async def send(message: Message) -> None:
        said.append(message)

    everything = {name.lower(): value for name, value in (OURS | headers).items()}
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/",
        "raw_path": b"/",
        "query_string": b"",
        "headers": [(name.encode(), value.encode()) for name, value in everything.items()],
    }
    await Guard(_never, Door(frozenset({HOST})))(scope, receive, send)
    return int(said[0]["status"])


async def _never(*_: object) -> None:
    raise AssertionError("this request must not get in")
