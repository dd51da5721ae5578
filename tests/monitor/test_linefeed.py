"""Line numbers from outside."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import ChipsongError
from monitor.linefeed import LineReport, _report, read_feed

GARBLED = [
    "hello",
    '{"at": 1, "line": 4',
    "[1, 2]",
    "null",
    '{"at": 1}',
    '{"line": 4}',
    '{"at": "1", "line": 4}',
    '{"at": true, "line": 4}',
    '{"at": -1, "line": 4}',
    '{"at": NaN, "line": 4}',
    '{"at": Infinity, "line": 4}',
    '{"at": 1764063060000, "line": 4}',
    '{"at": 1, "line": 0}',
    '{"at": 1, "line": 4.5}',
    '{"at": 1, "line": true}',
    '{"at": 1, "line": "4"}',
    '{"at": 1, "word": -1}',
    '{"at": 1, "word": 100000}',
    "[" * 100_000,
]


def test_lines_and_words_are_read(tmp_path: Path):
    """A file line and an N-word are told apart; blank lines and other keys do not matter."""
    path = tmp_path / "lines.jsonl"
    path.write_text(
        '{"at": 12.5, "line": 47}\n\n{"at": 13, "word": 480, "x": 1}\r\n{"at": 14, "line": 1, "word": 0}'
    )
    assert read_feed(path).reports == (
        LineReport(12.5, 47, None),
        LineReport(13.0, None, 480),
        LineReport(14.0, 1, 0),
    )


def test_reports_come_in_the_order_of_time(tmp_path: Path):
    """Reports that were written late are put where they belong, those of one time stay in order."""
    path = tmp_path / "lines.jsonl"
    path.write_text('{"at": 2, "line": 3}\n{"at": 1, "line": 2}\n{"at": 1, "line": 1}\n')
    assert [report.file_line for report in read_feed(path).reports] == [2, 1, 3]


@pytest.mark.parametrize("line", GARBLED)
def test_a_garbled_line_is_passed_over_and_counted(tmp_path: Path, line: str):
    """What cannot be understood does not hide the rest, and is counted."""
    path = tmp_path / "lines.jsonl"
    path.write_text(f'{line}\n{{"at": 2, "line": 5}}\n')
    feed = read_feed(path)
    assert feed.reports == (LineReport(2.0, 5, None),)
    assert feed.garbled == 1


@pytest.mark.parametrize("text", ["", "\n\n", "no numbers\n"])
def test_a_file_without_a_single_report_is_refused(tmp_path: Path, text: str):
    """A file in which nothing can be understood is an error that shows how a line must read."""
    path = tmp_path / "lines.jsonl"
    path.write_text(text)
    with pytest.raises(ChipsongError, match=r'no line numbers: each line must read like \{"at": 12\.5'):
        read_feed(path)


def test_a_missing_file_is_said(tmp_path: Path):
    """A file that is not there is an error of one line that names it."""
    with pytest.raises(ChipsongError, match=r"nothing\.jsonl"):
        read_feed(tmp_path / "nothing.jsonl")


def test_bytes_that_are_no_text_are_only_garbled(tmp_path: Path):
    """A line that noise on a wire has spoilt costs that line alone."""
    path = tmp_path / "lines.jsonl"
    path.write_bytes(b'\xff\xfe{"at": 1, "line": 2}\n{"at": 2, "line": 3}\n')
    assert read_feed(path).garbled == 1


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(), st.lists))
def test_no_value_brings_it_down(value: object):
    """Whatever stands in place of a number is a report with fit numbers, or garbled."""
    for key in ("at", "line", "word"):
        report = _report(json.dumps({"at": 1.0, "line": 2} | {key: value}))
        assert report is None or (report.at >= 0 and (report.file_line or 1) >= 1 and (report.word or 0) >= 0)
