"""The line on the terminal that shows what is being heard now."""

import io
import os
import re
import time
from types import SimpleNamespace

import numpy as np
import pytest
from contract import BIT, SHIPPED, sound

from analysis.events import Checked, Deaf, Event, Heard, StateChange
from analysis.listener import Listener
from analysis.presence import Phase
from monitor import standstill
from monitor.screen import Screen
from monitor.screen.lines import progress_text
from monitor.setup import Wanted, make_listener, read_program


class Terminal(io.StringIO):
    """Text that is written to a terminal."""

    def isatty(self) -> bool:
        """Say that it is one."""
        return True

    def shown(self) -> list[str]:
        """Return the lines as they stand on the terminal: what was written over is gone."""
        lines = []
        for line in self.getvalue().split("\n"):
            seen = ""
            for piece in line.split("\r"):
                seen = piece + seen[len(piece) :]
            lines.append(seen.rstrip())
        return lines


@pytest.fixture(scope="module")
def listener() -> Listener:
    """Give a listener in the middle of the shipped slip."""
    samples, rate = sound("slip_outline")
    wanted = Wanted(speed=float(BIT[1]), flutes=int(BIT[3]), diameter=6.0)
    program = read_program(SHIPPED / "slip_outline.ngc", [].append)
    listener = make_listener(rate, program, wanted, SHIPPED / "nowhere", pytest.fail)
    listener.hear(np.array(samples[: 9 * rate]))
    return listener


def test_the_line_tells_time_state_place_and_speed(listener: Listener):
    """The line has the time, the state, the line of the program, the speed and how near an alarm is."""
    text = progress_text(listener)
    place = listener.locator.place(listener.at)
    assert place is not None
    for words in ("0:09", "LISTEN", f"line {place.file}", "cut", "rpm", "alarm [...........", "]"):
        assert words in text
    assert len(text) < 80


def test_the_line_of_what_is_heard_late_is_deaf(listener: Listener):
    """It never says calmly what was long ago, but for an alarm."""
    terminal = Terminal()
    screen = Screen(terminal)
    screen.event(Deaf(9.0, "what is heard is old"))
    screen.progress(listener)
    assert "DEAF" in terminal.shown()[-1]
    assert "rpm" not in terminal.shown()[-1]
    screen.event(Heard(9.5, "of now"))
    screen.close()
    screen.progress(listener)
    assert "LISTEN" in progress_text(listener)
    alarmed = SimpleNamespace(
        **{name: getattr(listener, name) for name in ("at", "locator", "phase", "speed")}
    )
    alarmed.watcher = SimpleNamespace(state="alarm", score=1.0)
    assert "ALARM" in progress_text(alarmed, deaf=True)  # type: ignore[arg-type]


@pytest.mark.parametrize("stream", [Terminal(), io.StringIO()])
def test_the_line_does_not_stand_still_looking_calm(
    listener: Listener, stream: io.StringIO, monkeypatch: pytest.MonkeyPatch
):
    """Where the loop hangs that is told in its place, on a pipe too, and that it goes on; an end is none."""
    monkeypatch.setattr(standstill, "_LOOK", 0.02)
    screen = Screen(stream)
    screen.progress(listener)
    screen.alive()
    _wait_for("0:09  NOT HEARING: the listening itself hangs: look at the machine\n", stream)
    assert not stream.isatty() or stream.shown()[-1] == ""  # type: ignore[attr-defined]
    screen.alive()
    _wait_for("0:09  hearing again: the listening goes on\n", stream)
    screen.ends()
    told = stream.getvalue()
    time.sleep(0.2)
    assert stream.getvalue() == told


def _wait_for(words: str, stream: io.StringIO) -> None:
    end = time.monotonic() + 10
    while words not in stream.getvalue():
        assert time.monotonic() < end, stream.getvalue()
        time.sleep(0.01)


def test_trouble_stands_in_a_line_of_its_own(listener: Listener, monkeypatch: pytest.MonkeyPatch):
    """Standard error is mostly the same terminal: nothing is glued to the end of what is heard."""
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((80, 24)))
    stream = Terminal()
    monkeypatch.setattr("sys.stderr", stream)
    screen = Screen(stream)
    screen.progress(listener)
    screen.warn("there is no alarm to take back")
    assert stream.shown() == ["chipsong: there is no alarm to take back", progress_text(listener)]


def test_no_speed_is_told_while_the_spindle_is_off():
    """Before anything is heard there is no speed and no place, and the line says so."""
    silent = make_listener(8000, None, Wanted(speed=18_000.0), SHIPPED / "nowhere", pytest.fail)
    text = progress_text(silent)
    assert "rpm" not in text
    assert "place unknown" in text


def test_nothing_is_told_of_the_spindle_while_nobody_hears_it(listener: Listener):
    """What was heard last may be over: neither a speed nor a cut is told; nor that a spindle is off."""
    muted = SimpleNamespace(
        at=listener.at,
        locator=listener.locator,
        watcher=SimpleNamespace(state="deaf", score=0.0),
        phase=Phase.CUT,
        speed=300.0,
    )
    assert not re.search(r"\b(cut|air|off|rpm)\b", progress_text(muted))
    muted.watcher.state, muted.phase = "settle", Phase.OFF
    assert not re.search(r"\b(cut|air|off|rpm)\b", progress_text(muted))


def test_events_stand_above_the_line(listener: Listener, monkeypatch: pytest.MonkeyPatch):
    """An event takes the place of the line, which moves down; at the end the line is gone."""
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((80, 24)))
    stream = Terminal()
    screen = Screen(stream)
    screen.progress(listener)
    assert stream.shown() == [progress_text(listener)]
    screen.note("something happened")
    assert stream.shown() == ["something happened", progress_text(listener)]
    screen.close()
    assert stream.shown() == ["something happened", ""]


def test_the_line_is_never_longer_than_the_terminal_is_wide(
    listener: Listener, monkeypatch: pytest.MonkeyPatch
):
    """A line that would break could not be taken away, so it is cut."""
    monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((40, 24)))
    stream = Terminal()
    Screen(stream).progress(listener)
    assert stream.shown() == [progress_text(listener)[:39].rstrip()]


def test_the_line_is_not_written_more_often_than_it_can_be_read(listener: Listener):
    """Within half a second of sound the line is brought up to date once."""
    stream = Terminal()
    screen = Screen(stream)
    screen.progress(listener)
    once = stream.getvalue()
    screen.progress(listener)
    assert stream.getvalue() == once


def test_an_alarm_rings_a_terminals_bell():
    """What to do after an alarm rings the bell of a terminal, and only there."""
    terminal, file = Terminal(), io.StringIO()
    Screen(terminal).alarm("loose", "there is a restart")
    Screen(file).alarm("loose", "there is a restart")
    assert terminal.getvalue() == "\a" + file.getvalue()
    assert file.getvalue().startswith("What to do now:\n  1. Stop the cut")
    assert file.getvalue().endswith("\nthere is a restart\n")


def test_lines_name_what_can_be_pressed_where_something_can():
    """Who reads a pipe is told how to say that the bit was tightened, or nothing of it."""
    told, silent = io.StringIO(), io.StringIO()
    Screen(told, press="Say so.").alarm("loose", "")
    Screen(silent).alarm("loose", "")
    assert "  7. Say so. Carry on" in told.getvalue()
    assert told.getvalue().replace("Say so. ", "") == silent.getvalue()


@pytest.mark.parametrize(
    ("event", "rings"),
    [
        (Deaf(3.0, "silence"), True),
        (Checked(3.0, "physics", "doubtful", ("half orders",)), True),
        (Checked(3.0, "before", "loose", ("half orders",)), True),
        (Checked(3.0, "before", "tight", ("as before",)), False),
        (Checked(3.0, "reference", "doubtful", ("nothing is sure",)), False),
        (StateChange(3.0, "listen", "comparing"), False),
    ],
)
def test_whoever_has_to_look_up_is_rung_for(event: Event, *, rings: bool):
    """Deafness, and a bit that may be loose from the first second, ring the bell; all being well does not."""
    terminal, file = Terminal(), io.StringIO()
    Screen(terminal).event(event)
    Screen(file).event(event)
    assert terminal.getvalue() == ("\a" if rings else "") + file.getvalue()


def test_a_file_gets_events_only(listener: Listener):
    """Where nobody looks on there is no line to keep up to date."""
    stream = io.StringIO()
    screen = Screen(stream)
    screen.progress(listener)
    screen.note("something happened")
    screen.close()
    assert stream.getvalue() == "something happened\n"
