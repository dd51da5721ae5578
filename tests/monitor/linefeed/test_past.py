"""Line numbers of a cut that is over."""

from pathlib import Path

import pytest

from analysis.errors import ChipsongError
from analysis.linesfed import Report
from monitor.linefeed.past import read_past
from monitor.linefeed.reading import reader_for


def test_reports_come_in_the_order_of_time(tmp_path: Path):
    """Reports that were written late are put where they belong; blank lines do not matter."""
    path = tmp_path / "lines.jsonl"
    path.write_text('{"at": 2, "line": 3}\r\n\n{"at": 1, "word": 20}\n{"at": 1, "line": 1}')
    expected = (Report(1.0, None, 20), Report(1.0, 1, None), Report(2.0, 3, None))
    assert read_past(path).reports == expected


def test_what_is_garbled_is_passed_over_and_counted(tmp_path: Path):
    """Bytes that are no text, and times that do not count from the first sample, do not hide the rest."""
    path = tmp_path / "lines.jsonl"
    spoilt = (
        b'\xff\xfe{"at": 1, "line": 2}',
        b'{"at": -1, "line": 4}',
        b'{"line": 4}',
        b'{"at": 1764063060, "line": 4}',
    )
    path.write_bytes(b"\n".join([*spoilt, b'{"at": 2, "line": 5}']))
    past = read_past(path)
    assert past.reports == (Report(2.0, 5, None),)
    assert past.garbled == len(spoilt)


def test_a_log_is_read_with_a_pattern(tmp_path: Path):
    """A pattern with a group named time reads any log whose times count from the first sample."""
    path = tmp_path / "sender.log"
    path.write_text("0:00:01.5 sent 4\n0:01:02 sent 5\n")
    read = reader_for(r"(?P<time>\S+) sent (?P<line>\d+)")
    assert read_past(path, read).reports == (Report(1.5, 4, None), Report(62.0, 5, None))
    with pytest.raises(ChipsongError, match="no line has what the pattern seeks, with a time"):
        read_past(path, reader_for(r"sent (?P<line>\d+)"))


def test_a_pattern_that_takes_too_long_is_an_error(tmp_path: Path):
    """Whoever replays is there to change it."""
    path = tmp_path / "sender.log"
    path.write_text("1 line 4\n" + 20 * ("2 " + 80 * "a" + "-: line 5\n"))
    with pytest.raises(ChipsongError, match="the pattern takes too long in some lines: repeat nothing"):
        read_past(path, reader_for(r"(?P<time>\d+) (\w|\w\w)+: line (?P<line>\d+)"))


@pytest.mark.parametrize("text", ["", "\n\n", "no numbers\n"])
def test_a_file_without_a_single_report_is_refused(tmp_path: Path, text: str):
    """A file in which nothing can be understood is an error that shows how a line must read."""
    path = tmp_path / "lines.jsonl"
    path.write_text(text)
    with pytest.raises(ChipsongError, match=r'no line numbers: each line must read like \{"at": 12\.5'):
        read_past(path)


def test_a_missing_file_is_said(tmp_path: Path):
    """A file that is not there is an error of one line that names it."""
    with pytest.raises(ChipsongError, match=r"nothing\.jsonl"):
        read_past(tmp_path / "nothing.jsonl")
