"""From what an agent observes of one or several paths and devices to line numbers."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from monitor.linefeed.agent.document import Observation
from monitor.linefeed.agent.following import Choice, Following
from monitor.linefeed.reading import Said

OFF = "the agent has no line numbers now (UNAVAILABLE): is the machine on?"


class Watched:
    """What was observed of a mill and of what stands beside it, and what follows from it."""

    def __init__(self, choice: Choice | None = None) -> None:
        self.following = Following(choice)
        self._sequence = 0

    def see(self, *observed: tuple[str, str, str], came: Sequence[int] = ()) -> list[Said]:
        """
        Take in, as one answer: a path (or device/path), what (or what/subtype), and its value.

        They came about in the order in which they stand there, unless ``came`` tells it.
        """
        seen = [self._observation(*one) for one in observed]
        numbers = [one.sequence for one in seen]
        return self.following.take(
            [
                replace(one, sequence=numbers[place])
                for one, place in zip(seen, came or range(len(seen)), strict=True)
            ]
        )

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


@pytest.mark.parametrize("state", ["READY", "STOPPED", "ACTIVE"])
def test_the_first_path_in_the_agents_order_is_followed(state: str):
    """However long ago another one told its line, which stands beside it: that is remarked."""
    had = Watched()
    told = had.see(
        ("p1", "LineNumber/ABSOLUTE", "470"),
        ("p1", "Execution", "ACTIVE"),
        ("p2", "LineNumber/ABSOLUTE", "3"),
        ("p2", "Execution", state),
        came=(3, 2, 0, 1),
    )
    assert (told, had.following.others()) == ([Said(470, None)], ["p2"])


def test_a_path_that_is_off_is_followed_only_while_no_other_tells():
    """An agent may know of one of which no adapter tells; one that was followed may be off for a while."""
    had = Watched()
    off = ("p1", "LineNumber/ABSOLUTE", "UNAVAILABLE")
    assert had.see(off, ("p2", "LineNumber/ABSOLUTE", "UNAVAILABLE")) == []
    assert had.following.trouble() == OFF
    assert had.see(("p2", "LineNumber/ABSOLUTE", "47")) == [Said(47, None)]
    assert had.see(("p1", "LineNumber/ABSOLUTE", "3")) == []
    assert (had.following.now(), had.following.others()) == (Said(47, None), ["p1"])
    assert Watched().see(off, ("p2", "LineNumber/ABSOLUTE", "47")) == [Said(47, None)]


def test_the_choice_of_a_path_outlives_what_is_known_of_it():
    """Whoever asks the agent anew goes on with the same path; one that the agent lost is chosen anew."""
    choice = Choice()
    Watched(choice).see(("p2", "LineNumber/ABSOLUTE", "47"))
    assert Watched(choice).see(("p1", "LineNumber/ABSOLUTE", "3"), ("p2", "LineNumber/ABSOLUTE", "48")) == [
        Said(48, None)
    ]
    assert Watched(choice).see(("p1", "LineNumber/ABSOLUTE", "4")) == [Said(4, None)]


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
