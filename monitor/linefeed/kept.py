"""Line numbers as the journal keeps them, and why none came."""

from typing import Any

from analysis.linesfed import Report
from monitor.journal import Run

LINES = "lines"
"""The name of the journal's event that holds line numbers, or what was said of their source."""

# s of line numbers that are kept together.
_TOGETHER = 2.0


class Bundle:
    """Holds line numbers back until there are enough of them to be kept together."""

    def __init__(self) -> None:
        self._reports: list[Report] = []

    def add(self, report: Report) -> None:
        """Take one in."""
        self._reports.append(report)

    def due(self, at: float, *, last: bool = False) -> dict[str, Any] | None:
        """Return what is to be kept at ``at`` s, if it is time for that, or for the last time."""
        if not self._reports or (at - self._reports[0].at < _TOGETHER and not last):
            return None
        reports, self._reports = self._reports, []
        told = [[report.at, report.file_line, report.word, report.after] for report in reports]
        return {"event": LINES, "at": at, "reports": told}


def said_body(at: float, said: str) -> dict[str, Any]:
    """Return a sentence on the source of line numbers, to be kept."""
    return {"event": LINES, "at": at, "said": said}


def machine_body(at: float, told: dict[str, str | float]) -> dict[str, Any]:
    """Return what else a controller said of its machine, to be kept."""
    return {"event": LINES, "at": at, "machine": told}


def reports_of(run: Run) -> tuple[Report, ...]:
    """Return the line numbers that came while a run was heard, in their order; empty where none did."""
    bodies = (event.body for event in run.events() if event.name == LINES)
    return tuple(Report(*told) for body in bodies for told in body.get("reports", []))
