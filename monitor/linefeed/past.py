"""
Line numbers of a cut that is over, for a recording of it.

A line of the file holds one JSON object::

    {"at": 12.5, "line": 47}
    {"at": 12.9, "word": 480}

``at`` is in seconds from the first sample; or a pattern of the user's own finds line and time. ``line`` is
the line of the program's file, counted from 1; ``word`` is the number of its N-word: two different things.
"""

from dataclasses import dataclass
from pathlib import Path

from analysis.errors import ChipsongError
from analysis.linesfed import Report
from monitor.linefeed.reading import Reader, read_json

_LONGEST = 1e9  # s, some thirty years: a time of day in place of a time from the first sample


@dataclass(frozen=True)
class Past:
    """
    All that the machine said.

    Attributes
    ----------
    reports
        In the order of their time.
    garbled
        How many lines could not be understood.
    """

    reports: tuple[Report, ...]
    garbled: int


def read_past(path: Path, read: Reader = read_json) -> Past:
    """
    Read a file of line reports, passing over those that cannot be understood.

    Raises
    ------
    ChipsongError
        When there is no such file, or not one report in it.
    """
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise ChipsongError(
            f"cannot read the line numbers in {path} ({error.strerror}): check its name"
        ) from error
    lines = [line for line in text.splitlines() if line.strip()]
    reports = [report for line in lines if (report := _report(line, read)) is not None]
    if not reports:
        like = (
            'each line must read like {"at": 12.5, "line": 47} or {"at": 12.5, "word": 470}'
            if read is read_json
            else "no line has what the pattern seeks, with a time in seconds from the first sample"
        )
        raise ChipsongError(f"{path} has no line numbers: {like}")
    return Past(tuple(sorted(reports, key=lambda report: report.at)), len(lines) - len(reports))


def _report(line: str, read: Reader) -> Report | None:
    """Return what one line says, ``None`` when it is garbled."""
    said = read(line)
    if said is None or said.time is None or not 0 <= said.time < _LONGEST:
        return None
    return Report(said.time, said.line, said.word)
