"""A command of the user's, with real programs."""

import json
import os
import sys
import time
from pathlib import Path

import pytest

from analysis.events import Alarm, Place, ResumeLine
from monitor.actions.command import Command
from monitor.actions.kind import ActionError
from monitor.actions.message import message_of, rehearsal

TEST = rehearsal("alarm")


def python(script: str, *words: object) -> Command:
    """Return a command that runs a script."""
    return Command((sys.executable, "-c", script, *map(str, words)))


def gone(process: int) -> bool:
    """Return whether a process is over, or is so within twenty seconds."""
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return True
        if state == "Z":  # over, and only not yet collected by whoever is its parent now
            return True
        time.sleep(0.02)
    return False


def test_it_gets_the_event_as_json(tmp_path: Path):
    """Standard input holds the event, one line of JSON, and then ends."""
    out = tmp_path / "got"
    script = "import sys; open(sys.argv[1], 'w').write(sys.stdin.read())"
    assert python(script, out).fire(TEST, 10.0) == "ended well"
    assert out.read_text() == TEST.json + "\n"


def test_it_gets_a_few_variables(monkeypatch: pytest.MonkeyPatch):
    """Event, time, words, lines of an alarm and whether it is a test are added to the environment."""
    alarm = Alarm(
        3.25, 2.0, "loose", 0.7, ("x",), 2.0, 1.0, Place(31, 47, 30, 33, "sound"), ResumeLine(20, None)
    )
    message = message_of(alarm)
    assert message is not None
    monkeypatch.setenv("OF_THE_USER", "kept")
    names = ("EVENT", "AT", "TITLE", "TEST", "LINE", "RESUME")
    script = "import os, json, sys; print(json.dumps([os.environ.get(name) for name in sys.argv[1:]]))"
    said = python(script, *(f"CHIPSONG_{name}" for name in names), "OF_THE_USER").fire(message, 10.0)
    got = json.loads(said.removeprefix("ended well: "))
    assert got == ["alarm", "3.250", message.title, "0", "31", "20", "kept"]
    said = python(script, "CHIPSONG_TEST", "CHIPSONG_LINE").fire(TEST, 10.0)
    assert said == 'ended well: ["1", null]'


def test_no_shell_reads_it(tmp_path: Path):
    """What a shell would obey is an argument like any other."""
    victim = tmp_path / "victim"
    script = "import sys; print(sys.argv[1:])"
    words = [f"; touch {victim}", "$HOME", "*"]
    assert python(script, *words).fire(TEST, 10.0) == f"ended well: {words}"
    assert not victim.exists()


def test_what_it_said_last_is_told():
    """The last line that is not empty, of output and errors, is what became of it."""
    script = "import sys; print('one', flush=True); sys.stderr.write('two\\n\\n')"
    assert python(script).fire(TEST, 10.0) == "ended well: two"


def test_it_need_not_read_and_may_say_much():
    """A command that closes its input and writes five million bytes is let run to its end."""
    script = "import sys; sys.stdin.close(); [print('x' * 999) for _ in range(5000)]; print('end')"
    assert python(script).fire(TEST, 20.0) == "ended well: end"


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("import sys; print('no horn'); sys.exit(3)", "failed with status 3: no horn"),
        ("import os; os.kill(os.getpid(), 9)", "failed with status -9"),
    ],
)
def test_a_command_that_fails_has_failed(script: str, said: str):
    """Another exit status than 0, or a signal, is a failure, told with the last line."""
    with pytest.raises(ActionError, match=said):
        python(script).fire(TEST, 10.0)


def test_a_program_that_is_not_there_is_named(tmp_path: Path):
    """No such program, and one that may not be run, are told by name."""
    with pytest.raises(ActionError, match=r"cannot start 'no-such-horn' .*check its name"):
        Command(("no-such-horn",)).fire(TEST, 1.0)
    (tmp_path / "text").write_text("")
    with pytest.raises(ActionError, match="Permission denied"):
        Command((str(tmp_path / "text"),)).fire(TEST, 1.0)


def test_one_that_hangs_is_ended_with_its_children(tmp_path: Path):
    """At its limit the command is killed, and the process that it started, though neither heeds SIGTERM."""
    out = tmp_path / "children"
    script = f"trap '' TERM; sleep 60 & echo $$ $! > {out}; echo ringing; wait; sleep 60"
    begun = time.monotonic()
    with pytest.raises(ActionError, match=r"ended, because it was not over after 1 s: ringing"):
        Command(("/bin/sh", "-c", script)).fire(TEST, 1.0)
    assert time.monotonic() - begun < 4.0
    parent, started = map(int, out.read_text().split())
    assert parent != os.getpid()
    assert gone(parent)
    assert gone(started)


def test_what_it_leaves_behind_does_not_hold_it_up():
    """A command is over when it ends, though a process that it left has its output open still."""
    script = "import subprocess, sys; subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(6)'])"
    begun = time.monotonic()
    assert python(script + "; print('left')").fire(TEST, 10.0) == "ended well: left"
    assert time.monotonic() - begun < 5.0
