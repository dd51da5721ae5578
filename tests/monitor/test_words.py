"""What the person at the machine reads."""

import re
from dataclasses import replace

import pytest

from analysis.events import Alarm, Cause, Deaf, Heard, PartVerdict, Place, ResumeLine, StateChange, Summary
from analysis.figures.clock import lasting
from analysis.program import read
from monitor.words import (
    CAUSES,
    CAUTIONS,
    carries_on_text,
    clock,
    count,
    event_text,
    how_long,
    line_of,
    marked_text,
    moment_of,
    place,
    some,
    steps_after,
    what_to_do,
)

ALARM = Alarm(
    at=75.0,
    onset=73.6,
    cause="loose",
    confidence=0.7,
    because=("the spindle line rose", "half orders rose"),
    score=2.0,
    threshold=1.0,
    line=Place(22, None, 20, 24, "sound"),
    resume=ResumeLine(17, 110),
)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0:00"), (59.99, "0:59"), (60.0, "1:00"), (3600.0, "1:00:00"), (86399, "23:59:59")],
)
def test_times_read_as_on_a_clock(seconds: float, text: str):
    """Minutes and seconds, with hours where there are any; a second counts when it is over."""
    assert clock(seconds) == text
    assert moment_of(text) == int(seconds)


@pytest.mark.parametrize("said", ["", "soon", "3:", ":27", "-3", "1:2:3:4", "3 min", "1e3", "nan", "٣"])
def test_what_is_no_time_is_none(said: str):
    """Nothing is made of a word that only resembles a time."""
    assert moment_of(said) is None


def test_one_is_one_and_none_is_several():
    """What is counted stands in the singular for one alone."""
    assert [some(number, "fault") for number in range(3)] == ["0 faults", "1 fault", "2 faults"]


def test_a_place_tells_file_line_and_n_word_apart():
    """The file's line is always told, the N-word where there is one."""
    assert place(ResumeLine(17, 110)) == "line 17 (N110)"
    assert place(ResumeLine(17, 0)) == "line 17 (N0)"
    assert place(ResumeLine(17, None)) == "line 17"


def test_an_alarm_tells_since_when_where_why_and_where_to_carry_on():
    """Cause, confidence, onset, evidence, place with its span, and the line to resume are all there."""
    text = event_text(ALARM)
    for words in (
        "1:15  *** ALARM: THE BIT MAY BE LOOSE (70 % sure)",
        "It began at 1:13 (73.6 s), 1.4 s before it was certain.",
        "- the spindle line rose\n",
        "- half orders rose\n",
        "It was most likely cutting line 22, between line 20 and line 24.",
        "Carry on from line 17 (N110): the bit stood above the work there.",
    ):
        assert words in text


def test_why_the_restart_lies_long_before_the_onset_is_told():
    """Of a bit that may have worked loose slowly since 1:02; any other fault begins where it seems to."""
    said = "What this bit cut after 1:02 is cut again: one that works loose slowly is heard late."
    assert said in event_text(ALARM)
    assert "works loose" not in event_text(replace(ALARM, cause="spindle"))


def test_an_alarm_without_a_place_says_so():
    """Where the place is unknown no line is told, and why."""
    text = event_text(Alarm(75.0, 73.6, "unknown", 0.3, ("it changed",), 2.0, 1.0))
    assert "The place is unknown" in text
    assert "cutting line" not in text


def test_the_other_events_are_a_line_each():
    """A change of state, deaf and heard are one line with time and reason."""
    assert event_text(StateChange(5.0, "listen", "comparing")) == "    0:05  LISTEN   comparing"
    assert event_text(Deaf(5.0, "muted")) == "    0:05  NOT HEARING: muted"
    assert event_text(Heard(5.0, "usable")) == "    0:05  hearing again: usable"


def test_the_end_tells_each_parts_verdict():
    """How long was heard and cut, how many alarms and lines, and each part with what to do."""
    parts = (
        PartVerdict("tray 1", 10, 20, "good"),
        PartVerdict("tray 2", 21, 30, "suspect"),
        PartVerdict("tray 3", 31, 40, "unheard"),
    )
    text = event_text(Summary(100.0, 2, 90.0, 60.0, 25, parts))
    assert "End of the run: 2 alarms. Heard 1:30 of 1:40, 1:00 of it cutting." in text
    assert "Lines of the program followed: 25." in text
    for words in ("10 to 20: good", "21 to 30: SUSPECT - measure it", "31 to 40: unheard"):
        assert words in text


def test_a_run_without_a_cut_says_that_nothing_was_compared():
    """No alarm where no cut was heard means nothing, and the end says so."""
    text = event_text(Summary(100.0, 0, 90.0, 0.0, 0))
    assert "no alarm" in text
    assert "No cut was heard, so nothing could be compared." in text


@pytest.mark.parametrize(("compared", "little"), [(31.0, False), (30.0, False), (29.0, True), (0.0, True)])
def test_the_end_says_how_much_was_compared(compared: float, little: bool):
    """No alarm means little where less than half of the cutting was compared, and that is said."""
    text = event_text(Summary(100.0, 0, 90.0, 60.0, 0, compared_s=compared))
    assert f"Compared with what is normal: {clock(compared)} of the cutting." in text
    assert ("less than half" in text) == little


@pytest.mark.parametrize("seconds", [59.96, 60.4, 274.6, 275.49, 3598.5, 3599.4])
def test_how_long_something_lasts_is_what_the_report_says(seconds: float):
    """The end in the terminal, the list of runs and the report round alike."""
    minutes, rest = how_long(seconds).split(":")
    assert f"{minutes} min {int(rest)} s" == lasting(seconds)
    told = event_text(Summary(seconds, 0, seconds, seconds, 0, compared_s=seconds))
    assert told.count(how_long(seconds)) == 4


def test_a_run_of_long_ago_does_not_tell_how_much_was_compared():
    """What was not written down is not made up."""
    assert "Compared" not in event_text(Summary(100.0, 0, 90.0, 60.0, 0))


@pytest.mark.parametrize(("alarms", "text"), [(0, "no alarm"), (1, "one alarm"), (2, "2 alarms")])
def test_alarms_are_counted_in_words(alarms: int, text: str):
    """None, one and several alarms read as a person would say it."""
    assert count(alarms) == text


@pytest.mark.parametrize("cause", CAUSES)
def test_what_to_do_is_in_order_with_every_caution(cause: Cause):
    """The steps are numbered from stopping on, and no caution is left out, whatever the cause."""
    lines = what_to_do(cause).splitlines()
    steps = steps_after(cause)
    assert lines[1 : len(steps) + 1] == [f"  {n}. {step}" for n, step in enumerate(steps, 1)]
    assert lines[len(steps) + 1 :] == [f"  ! {caution}" for caution in CAUTIONS]
    order = (
        "stop",
        "isolate the spindle's power",
        "look|what stopped",
        "clean|tighten",
        "position",
        "touch off z",
        "carry on",
    )
    for short in (False, True):
        steps = steps_after(cause, short=short)
        assert len(steps) == len(order)
        assert all(re.search(words, step.lower()) for words, step in zip(order, steps, strict=True))


def test_that_the_bit_was_tightened_is_said_before_one_carries_on():
    """Where it can be said the last step begins with how; where it can't, nothing is said of it."""
    (*others, last), without = steps_after("loose", press="Press t."), steps_after("loose")
    assert (*others, last.removeprefix("Press t. ")) == without
    assert "7. Press t. Carry on" in what_to_do("loose", "Press t.")
    assert "ress" not in what_to_do("loose")


def test_what_is_told_of_a_line_that_a_person_says():
    """Line and N-word, so that a mix-up is seen; and where it was taken to be, if that is elsewhere."""
    program = read("G21 G90\nM3 S18000\nN100 G0 Z5\nN110 G1 X10 F500 Z-1\nX20\nM30\n", "job")
    assert [line_of(program, line) for line in (4, 5)] == [ResumeLine(4, 110), ResumeLine(5, None)]
    there = Place(22, 220, 20, 24, "sound")
    assert marked_text(ResumeLine(4, 110), None) == "You said that line 4 (N110) is being cut."
    assert marked_text(ResumeLine(23, None), there) == "You said that line 23 is being cut."
    assert "it was taken for line 22 (N220)" in marked_text(ResumeLine(4, 110), there)
    assert "taken for the one at line 4 (N110)" in carries_on_text(ResumeLine(4, 110))
    assert all("elsewhere" in carries_on_text(begins) for begins in (ResumeLine(4, 110), None))


def test_what_to_do_fits_the_cause():
    """A spindle that stopped is no loose bit: what is looked at and mended differs."""
    told = {cause: steps_after(cause) for cause in CAUSES}
    assert "What stopped it" in " ".join(told["spindle"])
    assert "may start again" in told["spindle"][0]
    assert "piece" in told["broken"][2]
    assert all(len(step) <= 72 for steps in told.values() for step in steps)
    assert all(len(steps_after(cause, press="Press t.")[-1]) <= 72 for cause in CAUSES)
    assert "axis" in told["stalled"][2]
    assert "clamps" in told["chatter"][2]
    assert told["loose"] == told["unknown"] == told["dull"]
