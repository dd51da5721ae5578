"""The reader against a machine that shares no code with it, on programs of every kind."""

import math
import re

import numpy as np
import pytest
from generated import programs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from restarting import restart_program
from simple_machine import SYSTEMS, Event, SimpleMachine
from wilder import wilder_programs

from analysis.errors import ProgramError
from analysis.program import Kind, Moves, read, resume_at
from analysis.program.moves import AXES_OF_PLANE

MARK = "from here on it is the original"


def points(moves: Moves, i: int) -> list[list[float]]:
    """Return the places of one move at even shares of its way: 2 of a line, 25 of an arc."""
    start, end = moves.start[i], moves.end[i]
    if moves.sweep[i] == 0:
        return [start.tolist(), end.tolist()]
    a, b, c = AXES_OF_PLANE[int(moves.plane[i])]
    centre, found = moves.centre[i], [start.tolist()]
    radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
    begin = math.atan2(start[b] - centre[b], start[a] - centre[a])
    for share in range(1, 24):
        angle, point = begin + moves.sweep[i] * share / 24, [0.0, 0.0, 0.0]
        point[a], point[b] = centre[a] + radius * math.cos(angle), centre[b] + radius * math.sin(angle)
        point[c] = start[c] + (end[c] - start[c]) * share / 24
        found.append(point)
    return [*found, end.tolist()]


def check_feeds(moves: Moves, events: list[Event]) -> None:
    """Assert that both feed along the same paths, at the same feed and speed, in the same way."""
    fed = [event for event in events if event.what == "feed"]
    indices = np.flatnonzero(np.isfinite(moves.feed))
    assert len(indices) == len(fed)
    for i, event in zip(indices.tolist(), fed, strict=True):
        assert np.allclose(points(moves, i), event.path, rtol=0, atol=1e-6)
        rate = moves.feed[i] if moves.seconds[i] == 0 else 60 / moves.seconds[i]
        assert math.isclose(rate, event.rate, rel_tol=1e-9)
        assert Kind(moves.kind[i]).name.lower() == event.kind
        assert moves.speed[i] == (0 if event.spindle[0] == 5 else event.spindle[1])
        assert (moves.file_line[i], moves.bit[i]) == (event.line, event.bit)
        assert SYSTEMS[moves.system[i] - 1] == event.system


def check_stops(moves: Moves, events: list[Event]) -> None:
    """Assert that both wait, pause and change bits on the same lines; the reader takes a probe as a wait."""
    probed = np.isin(moves.file_line, [event.line for event in events if event.what == "probe"])
    for what, kind in (("wait", Kind.DWELL), ("stop", Kind.PAUSE), ("bit", Kind.BIT_CHANGE)):
        rows = np.flatnonzero((moves.kind == kind) & ~probed)
        met = [(event.line, event.seconds) for event in events if event.what == what]
        assert [(int(moves.file_line[i]), float(moves.seconds[i])) for i in rows] == met


def check_traverses(moves: Moves, machine: SimpleMachine) -> None:
    """Assert that both traverse along the same ways, but where only the machine knows the place."""
    rapid = np.isnan(moves.feed) & np.isin(moves.kind, [Kind.RAPID, Kind.RETRACT])
    home = {event.line for event in machine.events if event.what == "home"}
    rows = np.flatnonzero(rapid & ~np.isin(moves.file_line, list(machine.lost_on | home)))
    known = [event for event in machine.events if event.what == "rapid" and event.line not in machine.lost_on]
    for event in (event for event in known if event.line in home):
        ends = moves.end[rapid & (moves.file_line == event.line)]
        assert np.allclose(ends[0], event.path[-1], rtol=0, atol=1e-6)
    known = [event for event in known if event.line not in home]
    assert moves.file_line[rows].tolist() == [event.line for event in known]
    for i, event in zip(rows.tolist(), known, strict=True):
        assert np.allclose([moves.start[i], moves.end[i]], event.path, rtol=0, atol=1e-6)


def check_same(text: str) -> None:
    """Assert that the reader reads what the machine does."""
    moves, machine = read(text).moves, SimpleMachine()
    check_feeds(moves, machine.run(text))
    check_stops(moves, machine.events)
    check_traverses(moves, machine)


def tries(count: int) -> settings:
    """Return how hard to look."""
    return settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))


@tries(30)
@given(text=programs())
def test_the_reader_reads_what_another_machine_does(text: str):
    """Path, feed, speed, bit, line and kind of every feed; every traverse, wait and stop."""
    check_same(text)


@tries(50)
@given(text=wilder_programs())
def test_the_reader_reads_what_another_machine_does_in_wilder_programs(text: str):
    """The same where homes, probes, zeros, subprograms and formulas come in."""
    check_same(text)


def same_way(one: Event, other: Event) -> bool:
    """Whether two feeds follow the same path, at the same rate, speed, bit, offsets and coolant."""
    close = len(one.path) == len(other.path) and np.allclose(one.path, other.path, rtol=0, atol=2e-3)
    told = ("spindle", "system", "length", "bit", "coolant", "kind")
    same = all(getattr(one, name) == getattr(other, name) for name in told)
    return close and same and math.isclose(one.rate, other.rate, rel_tol=1e-5)


def check_restart(text: str, line: int) -> str:
    """Return why a restart is refused, or "" after asserting that it feeds exactly what was left."""
    program, first = read(text), SimpleMachine()
    original = [event for event in first.run(text) if event.what == "feed"]
    try:
        resume = resume_at(program, line)
        restart = restart_program(program, line)
    except ProgramError as error:
        return str(error)
    if MARK not in restart:
        return ""
    done = int(np.isfinite(program.moves.feed[: resume.move]).sum())
    again = SimpleMachine(at=[-30.0, 45.0, 60.0], zeros=first.zeros, told=first.told, mist=True)
    again.modes = {"distance": "G91", "units": "G20", "plane": "G18", "feed": "G93", "motion": "G2"}
    events = again.run(restart)
    mark = next(i for i, said in enumerate(restart.split("\n"), 1) if MARK in said)
    left = [event for event in events if event.what == "feed" and event.line > mark]
    assert len(left) == len(original) - done
    assert all(same_way(a, b) for a, b in zip(left, original[done:], strict=True))
    assert all(event.spindle[0] != 5 and event.waited for event in left if min(p[2] for p in event.path) < 0)
    return ""


def check_line(text: str, share: float) -> None:
    """Assert that a restart from a line, so far down the text, is exact or refused with its reason."""
    lines = read(text).lines
    refused = check_restart(text, 1 + round(share * (len(lines) - 1)))
    assert not refused or re.search(r"no restart|is never run", refused)


@tries(30)
@given(text=wilder_programs(), share=st.floats(0, 1))
def test_a_restart_of_a_wilder_program_is_exact_or_refused_with_the_reason(text: str, share: float):
    """Whatever makes a place or a zero unknown: no restart feeds anything but what was left."""
    check_line(text, share)


@pytest.mark.slow
@tries(600)
@given(text=programs() | wilder_programs(), share=st.floats(0, 1))
def test_many_programs_are_read_and_restarted_as_another_machine_does(text: str, share: float):
    """The same, on many more programs."""
    check_same(text)
    check_line(text, share)
