"""What a line of text says."""

import json
import threading
from time import process_time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.linefeed.reading import PatternError, Said, read_json, reader_for

GARBLED = [
    "hello",
    '{"line": 4',
    "[1, 2]",
    "null",
    "4",
    '{"at": 1}',
    '{"line": 0}',
    '{"line": 4.5}',
    '{"line": true}',
    '{"line": "4"}',
    '{"line": 4, "word": "N4"}',
    '{"word": -1}',
    '{"word": 1000000001}',
    "[" * 100_000,
]


def test_lines_and_words_are_told_apart():
    """A file line and an N-word are two things; other keys do not matter."""
    assert read_json('{"at": 12.5, "line": 47}') == Said(47, None, 12.5)
    assert read_json('{"word": 480, "x": 1, "time": 3}') == Said(None, 480, 3.0)
    assert read_json('{"line": 1, "word": 0}') == Said(1, 0)


@pytest.mark.parametrize("text", GARBLED)
def test_what_cannot_be_understood_says_nothing(text: str):
    """Half a line, a word in place of a number, a number that no line can have."""
    assert read_json(text) is None


def test_a_time_that_is_none_does_not_spoil_the_line():
    """Live it is told by the run's own clock when a line came."""
    for time in ('"noon"', "NaN", "Infinity", "true", "null"):
        assert read_json(f'{{"at": {time}, "line": 4}}') == Said(4, None)
    assert read_json('{"at": 1764063060500, "line": 4}') == Said(4, None, 1764063060.5)


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(), st.lists))
def test_no_value_brings_it_down(value: object):
    """Whatever stands in place of a number is a fit number, or garbled."""
    for key in ("at", "line", "word"):
        said = read_json(json.dumps({"at": 1.0, "line": 2} | {key: value}))
        assert said is None or ((said.line or 1) >= 1 and 0 <= (said.word or 0) <= 10**9)


def test_n_words_are_as_large_as_long_programs_have_them():
    """A program that is numbered by tens has more than five digits from line 10 000 on."""
    assert read_json('{"word": 100010}') == Said(None, 100010)
    assert reader_for(r"N(?P<word>\d+)")("sent N100010") == Said(None, 100010)


@pytest.mark.parametrize(
    ("pattern", "text", "said"),
    [
        (r"line (?P<line>\d+)", "14:05:09 sent line 47 ok", Said(47, None)),
        (r"line (?P<line>\d+)", "sent nothing", None),
        (r"(?P<word>N\d+)", "cutting N120 now", Said(None, 120)),
        (r"(?P<line>\S+) (?P<word>\S+)", "7 n90", Said(7, 90)),
        (r"(?P<line>\S+)", "seven", None),
        (r"(?P<line>\S+)", "99999999999999999999", None),
        (r"(?P<line>\S+)", "²", None),
        (r"(?P<time>[\d.:]+) (?P<line>\d+)", "12.25 47", Said(47, None, 12.25)),
        (r"(?P<time>\S+) (?P<line>\d+)", "2026-11-28T14:05:09.5Z 47", Said(47, None, 50709.5)),
        (r"(?P<time>\S+) (?P<line>\d+)", "noon 47", Said(47, None)),
        (r"a(?P<line>\d+)|b(?P<word>\d+)", "b33", Said(None, 33)),
    ],
)
def test_a_pattern_of_the_users_own(pattern: str, text: str, said: Said | None):
    """Its groups name line, N-word and time; a text that does not fit says nothing."""
    assert reader_for(pattern)(text) == said


@pytest.mark.parametrize(
    ("pattern", "why"),
    [("(", "is no regular expression"), (r"line (\d+)", "no group that is named line or word")],
)
def test_a_pattern_that_finds_nothing_is_refused(pattern: str, why: str):
    """What is no regular expression, or names no line, is said in a sentence."""
    with pytest.raises(ValueError, match=why):
        reader_for(pattern)


def test_a_pattern_that_takes_too_long_stops_nothing():
    """Some patterns try more ways than can ever be tried: other threads run meanwhile, and it is given up."""
    read = reader_for(r"^(\w|\w\w)+: line (?P<line>\d+)")
    over, ticks = threading.Event(), 0

    def tick() -> None:
        nonlocal ticks
        while not over.wait(0.001):
            ticks += 1

    thread = threading.Thread(target=tick)
    thread.start()
    began = process_time()
    with pytest.raises(PatternError, match=r"takes too long in some lines: .*: \^\(\\w\|\\w\\w\)\+: line"):
        read("a" * 80 + "-: line 5")
    over.set()
    thread.join()
    assert ticks > 3
    assert process_time() - began < 1.0
    assert read("job: line 5") == Said(5, None)
