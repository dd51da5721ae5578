"""From what an agent observes of one or several paths and devices to line numbers."""

import pytest

from monitor.linefeed.agent.document import Observation
from monitor.linefeed.agent.following import Following
from monitor.linefeed.reading import Said

OFF = "the agent has no line numbers now (UNAVAILABLE): is the machine on?"


class Watched:
    """What was observed of a mill and of what stands beside it, and what follows from it."""

    def __init__(self) -> None:
        self.following = Following()
        self._sequence = 0

    def see(self, *observed: tuple[str, str, str]) -> list[Said]:
        """Take in, as one answer: a path (or device/path), what (or what/subtype), and its value."""
        return self.following.take([self._observation(*one) for one in observed])

    def _observation(self, whose: str, what: str, value: str) -> Observation:
        device, _, path = whose.rpartition("/")
        kind, _, sub_type = what.partition("/")
        self._sequence += 1
        return Observation(device or "mill", path, kind, sub_type, value, self._sequence)


def test_another_path_that_stands_does_not_silence_the_one_that_cuts():
    """A loader that is READY, or off, is not the machine."""
    for state in ("READY", "UNAVAILABLE", "PROGRAM_COMPLETED"):
        had = Watched()
        first = had.see(
            ("p1", "Execution", "ACTIVE"), ("p1", "LineNumber/ABSOLUTE", "47"), ("p2", "Execution", state)
        )
        assert first[-1] == Said(47, None)
        assert had.see(("p1", "LineNumber/ABSOLUTE", "48")) == [Said(48, None)]
        assert (had.following.trouble(), had.following.machine) == ("", {"execution": "ACTIVE"})


def test_another_path_that_runs_does_not_speak_for_the_one_that_stands():
    """The line at which a program was over is not being cut, whatever another path does."""
    had = Watched()
    had.see(("p1", "Execution", "PROGRAM_COMPLETED"), ("p1", "LineNumber/ABSOLUTE", "47"))
    assert had.see(("p2", "Execution", "ACTIVE")) == []
    assert had.following.now() is None
    assert had.following.trouble() == "the controller is PROGRAM_COMPLETED: no line is being cut"


def test_another_device_is_another_machine():
    """One that has no line numbers needs no choice, and what it does or how fast it turns is its own."""
    had = Watched()
    had.see(
        ("loader/q1", "Execution", "UNAVAILABLE"),
        ("loader/s1", "RotaryVelocity", "20"),
        ("p1", "LineNumber/ABSOLUTE", "47"),
        ("p1", "Execution", "ACTIVE"),
        ("s1", "RotaryVelocity/ACTUAL", "18000"),
    )
    assert (had.following.now(), had.following.trouble()) == (Said(47, None), "")
    assert had.following.machine == {"execution": "ACTIVE", "rotary_velocity": 18000.0}


def test_a_label_counts_for_its_own_path():
    """N900 of a second path, before or after, does not move the lines that count from N100 on the first."""
    had = Watched()
    had.see(
        ("p2", "LineLabel", "N800"),
        ("p1", "LineLabel", "N100"),
        ("p1", "LineNumber/INCREMENTAL", "2"),
        ("p2", "LineLabel", "N900"),
    )
    assert had.following.now() == Said(None, 100, after=2)
    assert had.see(("p1", "LineNumber/INCREMENTAL", "3")) == [Said(None, 100, after=3)]


def test_a_controller_above_the_path_speaks_for_it():
    """Some agents tell the state of execution there; where others differ, none is taken for ours."""
    had = Watched()
    had.see(("controller", "Execution", "READY"), ("p1", "LineNumber/ABSOLUTE", "1"))
    assert had.following.now() is None
    assert had.following.trouble() == "the controller is READY: no line is being cut"
    had.see(("p2", "Execution", "READY"))
    assert had.following.now() is None
    had.see(("p2", "Execution", "ACTIVE"))
    assert had.following.now() == Said(1, None)


def test_a_line_from_before_the_program_was_over_is_none():
    """What an agent answers first is in the order in which it came about; it holds all at once."""
    had = Watched()
    assert had.see(("p1", "LineNumber/ABSOLUTE", "470"), ("p1", "Execution", "READY")) == []
    assert had.see(("p1", "LineNumber/ABSOLUTE", "1"), ("p1", "Execution", "ACTIVE")) == [Said(1, None)]


def test_labels_alone_name_lines_as_well():
    """An N-word is one, also where nothing counts from it."""
    had = Watched()
    assert had.see(("p1", "LineLabel", "N100")) == [Said(None, 100)]
    assert had.following.trouble() == ""


@pytest.mark.parametrize(
    ("observed", "now", "trouble"),
    [
        ([("LineNumber/ABSOLUTE", "UNAVAILABLE")], None, OFF),
        (
            [("LineNumber/ABSOLUTE", "UNAVAILABLE"), ("LineLabel", "N9"), ("LineNumber/INCREMENTAL", "2")],
            Said(None, 9, after=2),
            "",
        ),
        ([("LineLabel", "UNAVAILABLE"), ("LineNumber/INCREMENTAL", "UNAVAILABLE")], None, OFF),
        ([("LineLabel", "N9"), ("LineNumber/INCREMENTAL", "UNAVAILABLE")], None, OFF),
    ],
)
def test_what_is_unavailable_is_said_where_nothing_else_tells_the_line(
    observed: list[tuple[str, str]], now: Said | None, trouble: str
):
    """Of the two ways to count lines one is enough."""
    had = Watched()
    had.see(("p1", "Execution", "ACTIVE"), *(("p1", what, value) for what, value in observed))
    assert (had.following.now(), had.following.trouble()) == (now, trouble)
