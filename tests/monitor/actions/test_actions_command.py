"""``chipsong actions``: what is set up, and whether it works."""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from contract import Ended
from receivers import HERE, Line, Web, free_port

Command = Callable[..., Ended]


def hook(web: Web, name: str = "hook", more: str = "") -> str:
    """Return an action that reaches the web server."""
    return f'[[action]]\nname = "{name}"\nkind = "http"\nurl = "{web.url("/secret")}"\n{more}\n'


def command(name: str, script: str, more: str = "") -> str:
    """Return an action that runs a script."""
    run = json.dumps([sys.executable, "-c", script])
    return f'[[action]]\nname = "{name}"\nkind = "command"\nrun = {run}\n{more}\n'


@pytest.fixture
def set_up(home: Path) -> Callable[..., Path]:
    """Give a way to write the file of actions."""

    def write(*actions: str) -> Path:
        home.mkdir(exist_ok=True)
        path = home / "actions.toml"
        path.write_text("".join(actions))
        return path

    return write


def test_what_is_set_up_is_listed(chipsong: Command, set_up: Callable[..., Path], web: Web):
    """A line for each: name, events, what it does, how often; nothing fires, and no path is shown."""
    bell = '[[action]]\nname = "bell"\nkind = "bell"\non = ["alarm"]\ntries = 1\nlimit = 4\n'
    set_up(bell, hook(web, "web hook"))
    ended = chipsong("actions")
    assert (ended.status, ended.err) == (0, "")
    lines = ended.out.splitlines()
    assert lines[0] == "bell      at alarm: bell: 3 times (1 try of 4 s)"
    assert lines[1] == f"web hook  at alarm, deaf: http: POST to http://{HERE}:{web.port} (3 tries of 10 s)"
    assert lines[-1] == "Try them, with the spindle off: chipsong actions try"
    assert web.received == []


def test_what_may_act_on_the_machine_is_said(chipsong: Command, set_up: Callable[..., Path], line: Line):
    """With a command or serial bytes set up it says that a feed hold does not stop the spindle, and more."""
    serial = f'[[action]]\nname = "hold"\nkind = "serial"\nport = "{line.port}"\nbaud = 9600\ntext = "x"\n'
    set_up(serial)
    for ended in (chipsong("actions"), chipsong("actions", "try")):
        said = ended.out + ended.err
        assert "! 'hold' may act on the machine, as you set it up." in said
        assert "A feed hold does not stop the spindle." in said
        assert "chipsong is no safety device" in said
    assert line.read() == b"x"
    set_up('[[action]]\nname = "bell"\nkind = "bell"\n')
    assert "!" not in chipsong("actions").out


def test_nothing_set_up_says_where_to(chipsong: Command, home: Path):
    """Without a file the list is empty and names it; trying has failed."""
    ended = chipsong("actions")
    assert (ended.status, ended.err) == (0, "")
    assert (
        ended.out == f"No actions are set up: write them into {home / 'actions.toml'}, as README.md shows.\n"
    )
    ended = chipsong("actions", "try")
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith("chipsong: no actions are set up: write them into ")


@pytest.mark.parametrize("words", [("actions",), ("actions", "try"), ("watch", "--json")])
def test_a_mistake_is_one_line(chipsong: Command, set_up: Callable[..., Path], words: tuple[str, ...]):
    """A file that is wrong is told at once, also before anything is listened to."""
    path = set_up('[[action]]\nname = "a"\nkind = "siren"\n')
    ended = chipsong(*words)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith(f"chipsong: {path}: action 1 ('a'), kind = 'siren': it must be one of bell")
    assert ended.err.count("\n") == 1


def test_what_cannot_work_is_said(
    chipsong: Command, set_up: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
):
    """A library that is not installed is named in the list with what to install, and fails when tried."""
    monkeypatch.setitem(sys.modules, "serial", None)
    set_up('[[action]]\nname = "hold"\nkind = "serial"\nport = "/dev/null"\nbaud = 9600\ntext = "x"\n')
    assert "CANNOT WORK: pyserial is missing: pip install 'chipsong[serial]'" in chipsong("actions").out
    ended = chipsong("actions", "try")
    assert ended.status == 1
    assert "action 'hold' at alarm FAILED after" in ended.out


def test_all_are_tried_with_an_event_that_says_so(
    chipsong: Command, set_up: Callable[..., Path], web: Web, tmp_path: Path
):
    """Each fires once, with a test at the first event that it is for; what became of each is told."""
    out = tmp_path / "out"
    script = f"import sys; open({str(out)!r}, 'w').write(sys.stdin.read())"
    set_up(hook(web, more='on = ["heard", "deaf"]'), command("cmd", script))
    ended = chipsong("actions", "try")
    assert ended.status == 0
    said = sorted(ended.out.splitlines())
    assert said[0].startswith("action 'cmd' at alarm done after ")
    assert said[1].startswith("action 'hook' at deaf done after ")
    assert said[1].endswith(" s: answered 204 No Content")
    (got,) = web.received
    assert json.loads(got.body) == {
        "event": "deaf",
        "at": 0.0,
        "because": "this is a test: nothing was heard, nothing is wrong",
        "test": True,
    }
    assert json.loads(out.read_text())["test"] is True


def test_one_may_be_tried(chipsong: Command, set_up: Callable[..., Path], web: Web):
    """With a name, in any case, only that one fires; an unknown name lists those that there are."""
    set_up(hook(web), command("cmd", "raise SystemExit(1)"))
    ended = chipsong("actions", "try", "HOOK")
    assert ended.status == 0
    assert ended.out.count("\n") == 1
    assert len(web.received) == 1
    ended = chipsong("actions", "try", "horn")
    assert (ended.status, ended.out) == (1, "")
    assert "there is no action 'horn' in " in ended.err
    assert ended.err.endswith("it has 'hook', 'cmd'\n")


def test_one_that_fails_makes_the_status_1(chipsong: Command, set_up: Callable[..., Path], web: Web):
    """The others fire all the same, and the reason is told."""
    down = f'[[action]]\nname = "down"\nkind = "http"\ntries = 1\nurl = "http://{HERE}:{free_port()}"\n'
    set_up(command("cmd", "print('no horn'); raise SystemExit(5)"), down, hook(web))
    ended = chipsong("actions", "try")
    assert ended.status == 1
    assert len(web.received) == 1
    said = sorted(ended.out.splitlines())
    assert said[0].startswith("action 'cmd' at alarm FAILED after ")
    assert said[0].endswith(" s: failed with status 5: no horn")
    assert said[1].startswith("action 'down' at alarm FAILED after ")
    assert said[2].startswith("action 'hook' at alarm done after ")
