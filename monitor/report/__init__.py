"""
``chipsong report``: a run as one file that opens anywhere, and as tables and cues for other programs.

The file holds its pictures and sounds, needs no network, and runs no script.
"""

import base64
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.errors import ChipsongError
from analysis.figures.orders import rises_told
from monitor.journal import home, open_run
from monitor.kept.labels import is_fine
from monitor.page.rendering import STATIC, render
from monitor.report.cues import cues
from monitor.report.tables import events_table, parts_table
from monitor.saving import save
from monitor.story import Incident, Story, tell
from monitor.story.clips import MIME, clips
from monitor.story.comparing import compared
from monitor.story.pictures import orders_png, sheet_png, timeline_png
from monitor.story.words import all_said, headline, listed, not_heard, said_since, to_recut

# Alarms whose sound and picture are in the report, and lines of its list: a file must stay small.
_DETAILED, _LISTED = 6, 400

_MEANINGS = {
    "good": "heard being cut, without a change",
    "suspect": "some of it was cut while the sound had changed or shortly before, by a bit in doubt, or "
    "while, as a person said, something was wrong",
    "unheard": "not heard all the way, so nobody knows",
}


@dataclass(frozen=True)
class _Detail:
    """What is shown of one alarm: sounds and picture as addresses that hold them; empty without any."""

    before: str = ""
    since: str = ""
    louder: float = 0.0
    orders: str = ""
    told: str = ""


def write_report(run: str, out: Path, *, csv: bool, vtt: bool) -> None:
    """
    Write the report of a run, and beside it what else is asked for.

    Parameters
    ----------
    run
        Name of the run, or a beginning of it.
    out
        The report's file. Tables and cues lie beside it and bear its name.
    csv, vtt
        Whether to write tables of events and parts, and WebVTT cues.

    Raises
    ------
    JournalError
        When there is no such run, or it cannot be understood.
    ChipsongError
        When a file cannot be written, or would be both the report and the cues.
    """
    if not out.name:
        raise ChipsongError(f"{out} is a folder: say a file in it, as {out / 'report.html'}")
    of_cues = out.with_suffix(".vtt")
    if vtt and of_cues == out:
        raise ChipsongError(f"{out} is where the cues go: call the report {out.stem}.html")
    story = tell(open_run(home(), run))
    texts = {out: report_html(story)}
    if csv:
        texts[out.with_name(f"{out.stem}-events.csv")] = events_table(story)
        texts[out.with_name(f"{out.stem}-parts.csv")] = parts_table(story)
    if vtt:
        texts[of_cues] = cues(story)
    for path, text in texts.items():
        save(text, path)
        sys.stdout.write(f"Written: {path}\n")


def report_html(story: Story) -> str:
    """Return the report of a run."""
    lines, left_out = listed(all_said(story), _LISTED)
    return render(
        "report.html",
        story=story,
        style=(STATIC / "look.css").read_text(encoding="utf-8"),
        headline=headline(story),
        fine=is_fine(story.run),
        recut=to_recut(story),
        timeline=_held("image/png", timeline_png(story)),
        sheet=_held("image/png", sheet_png(story)),
        details=_details(story),
        meanings=_MEANINGS,
        not_heard=not_heard(story),
        said_since=said_since(story),
        lines=lines,
        left_out=left_out,
    )


def _details(story: Story) -> Mapping[int, _Detail]:
    return {incident.number: _detail(story, incident) for incident in story.incidents[:_DETAILED]}


def _detail(story: Story, incident: Incident) -> _Detail:
    sound, found = clips(story.run, incident), compared(story, incident)
    return _Detail(
        before=_held(MIME, sound.before) if sound else "",
        since=_held(MIME, sound.since) if sound else "",
        louder=sound.louder if sound else 0.0,
        orders=_held("image/png", orders_png(found)) if found else "",
        told=rises_told(found.orders, found.normal, found.now) if found else "",
    )


def _held(mime: str, content: bytes | None) -> str:
    """Return an address that holds its content; empty where there is none."""
    return f"data:{mime};base64,{base64.b64encode(content).decode()}" if content else ""
