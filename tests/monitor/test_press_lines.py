"""What a person says through another program: JSON lines on standard input."""

import os
import time
from collections.abc import Callable, Iterator
from typing import TextIO

import pytest
from contract import BIT, SHIPPED, Ended, sound

from monitor.controls import Press
from monitor.press_lines import PressLines, press_of
from monitor.testing import FakeMicrophone


@pytest.mark.parametrize(
    ("line", "press"),
    [
        ('{"press": "tightened"}', Press("tightened")),
        ('{"press": "nothing", "who": "me"}', Press("nothing")),
        ('{"press":"mark","line":47}', Press("mark", 47)),
    ],
)
def test_a_line_says_what_a_key_says(line: str, press: Press):
    """Each kind is a word; a mark has its line."""
    assert press_of(line) == press


@pytest.mark.parametrize(
    "line",
    ["", "t", "[]", "7", "{}", '{"press": "stop"}', '{"press": ["mark"]}', '{"press": "mark"}']
    + [f'{{"press": "mark", "line": {line}}}' for line in ("0", "-3", "true", "4.0", '"4"', "null")]
    + ['{"press": "tightened", "line": 3}', "[" * 2000],
)
def test_what_is_not_understood_says_so(line: str):
    """Anything else is refused in one line."""
    with pytest.raises(ValueError, match=r"not understood|only a mark has a line") as refused:
        press_of(line)
    assert "\n" not in str(refused.value)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> Iterator[TextIO]:
    """Give the far end of standard input."""
    theirs, ours = os.pipe()
    with os.fdopen(theirs) as stdin, os.fdopen(ours, "w") as far:
        monkeypatch.setattr("sys.stdin", stdin)
        yield far


@pytest.mark.parametrize(
    ("rest", "presses", "refused"),
    [
        ('{"press": "tightened"}', [Press("tightened")], 0),
        ('{"press": "tigh', [], 1),
        ("\n", [], 0),
    ],
)
def test_a_last_line_needs_no_end_and_the_end_is_told(rest: str, presses: list[Press], refused: int):
    """What is whole is meant; and from then on nobody waits for a button box that is gone."""
    theirs, ours = os.pipe()
    with os.fdopen(ours, "w") as far:
        far.write(f'{{"press": "mark", "line": 5}}\n{rest}')
    said: list[str] = []
    taken: list[Press] = []
    end = time.monotonic() + 10
    with os.fdopen(theirs) as near, PressLines(near, said.append) as lines:
        while not any("has ended" in line for line in said) and time.monotonic() < end:
            taken += lines.take()
            time.sleep(0.01)
    assert taken == [Press("mark", 5), *presses]
    assert said[-1] == "standard input has ended: nothing more can be said there"
    assert len(said) == 1 + refused


def test_watch_takes_them(chipsong: Callable[..., Ended], said: TextIO, monkeypatch: pytest.MonkeyPatch):
    """What is said is done, and kept; what is not understood is a line on standard error."""
    samples, rate = sound("slip_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda _device, _rate: FakeMicrophone(samples, rate))
    said.write('{"press": "tightened"}\nwhat\n')
    said.flush()
    ended = chipsong("watch", *BIT, "--program", SHIPPED / "slip_outline.ngc", "--control", "-", "--json")
    assert any("tightened" in str(event.get("because")) for event in ended.events)
    assert ended.err.startswith("chipsong: 'what' on standard input is not understood: write ")
    assert ended.err.count("\n") == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--control", "-"], 'Write {"press": "tightened"} to standard input. Carry on'),
        (["--control", "-", "--page"], 'Press "Tightened, carry on" on the page. Carry on'),
        ([], "Carry on"),
    ],
)
def test_an_alarm_in_plain_lines_tells_how_to_say_that_the_bit_was_tightened(
    chipsong: Callable[..., Ended],
    said: TextIO,
    monkeypatch: pytest.MonkeyPatch,
    options: list[str],
    told: str,
):
    """Where nobody can say it, nothing is said of it: the first seconds are checked only if it is said."""
    del said
    samples, rate = sound("slip_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda _device, _rate: FakeMicrophone(samples, rate))
    ended = chipsong("watch", *BIT, "--program", SHIPPED / "slip_outline.ngc", *options)
    assert f"  7. {told} with the restart program" in ended.out
