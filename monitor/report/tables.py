"""Events and parts of a run as comma-separated tables."""

import csv
import io
from collections.abc import Iterable, Sequence

from analysis.events import Alarm, Checked, to_dict
from monitor.review import beside
from monitor.story import Story
from monitor.story.words import line_of

_EVENTS = (
    *("at", "event", "state", "because", "onset", "cause", "confidence", "score", "threshold"),
    *("line", "line_word", "line_from", "line_to", "resume", "resume_word", "label"),
    *("verdict", "against"),
)
_NOTHING = ("",) * (len(_EVENTS) - 4)


def events_table(story: Story) -> str:
    """Return all that was said, by people and of actions too, a row each, with times in s."""
    said = {id(incident.alarm): incident.label or "" for incident in story.incidents}
    rows: list[tuple[float, list[object]]] = []
    for event in story.events:
        body = to_dict(event)
        detail: Sequence[object] = _NOTHING
        if isinstance(event, Alarm):
            detail = _alarm(event, said[id(event)])
        elif isinstance(event, Checked):
            detail = (*_NOTHING[2:], event.verdict, event.against)
        rows.append((event.at, [body["event"], body.get("state", ""), line_of(event).why, *detail]))
    rows += [(at, [name, "", text, *_NOTHING]) for at, name, text in beside(story.run)]
    rows.sort(key=lambda row: row[0])
    return _table(_EVENTS, ([f"{at:.4f}", *row] for at, row in rows))


def parts_table(story: Story) -> str:
    """Return the parts, a row each, with their lines of the file and their verdict."""
    rows = ([part.name, part.first, part.last, part.verdict] for part in story.verdicts)
    return _table(("part", "line_from", "line_to", "verdict"), rows)


def _alarm(alarm: Alarm, label: str) -> list[object]:
    line, resume = alarm.line, alarm.resume
    return [
        *(f"{alarm.onset:.4f}", alarm.cause, alarm.confidence, alarm.score, alarm.threshold),
        *((line.file, line.word, line.first, line.last) if line else ("",) * 4),
        *((resume.file, resume.word) if resume else ("",) * 2),
        *(label, "", ""),
    ]


def _table(names: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\r\n")  # RFC 4180
    writer.writerow(names)
    writer.writerows(rows)
    return held.getvalue()
