"""
What was said of a run as WebVTT cues, to be shown beside its sound.

References
----------
.. [1] W3C, WebVTT: The Web Video Text Tracks Format.
"""

from collections.abc import Iterator

from analysis.events import Alarm, Checked, Heard, StateChange
from monitor.review import beside
from monitor.story import Story
from monitor.story.words import line_of
from monitor.words import CAUSES, place

# s that what has no end of its own is shown for.
_SHOWN = 5.0


def cues(story: Story) -> str:
    """Return a WebVTT file: the watcher's states, the parts, the alarms and all else that was said."""
    blocks = sorted([*_states(story), *_parts(story), *_events(story)])
    written = [f"{_time(begin)} --> {_time(end)}\n{_escaped(text)}\n" for begin, end, text in blocks]
    return "\n".join([f"WEBVTT {story.run.id}\n", *written])


def _states(story: Story) -> Iterator[tuple[float, float, str]]:
    because = {event.at: event.because for event in story.events if isinstance(event, StateChange)}
    for begin, end, state in story.states:
        if end > begin:
            why = because.get(begin)
            yield begin, end, f"{state}: {why}" if why else state


def _parts(story: Story) -> Iterator[tuple[float, float, str]]:
    for name, begin, end in story.parts_at:
        if end > begin:
            yield begin, end, name


def _events(story: Story) -> Iterator[tuple[float, float, str]]:
    for incident in story.incidents:
        yield incident.alarm.onset, incident.alarm.at + _SHOWN, _alarm(incident.alarm)
    for at, what, why in _others(story):
        yield at, at + _SHOWN, f"{what}: {why}" if why else what


def _others(story: Story) -> Iterator[tuple[float, str, str]]:
    """Give what the states do not tell: what was found of bits, what people said, what actions came to."""
    for event in story.events:
        if isinstance(event, Checked | Heard):
            at, what, why, _ = line_of(event)
            yield at, what, why
    yield from beside(story.run)


def _alarm(alarm: Alarm) -> str:
    lines = [CAUSES[alarm.cause], *alarm.because]
    if alarm.line:
        lines.append(f"{place(alarm.line)}, between {alarm.line.first} and {alarm.line.last}")
    if alarm.resume:
        lines.append(f"carry on from {place(alarm.resume)}")
    return "\n".join(lines)


def _time(seconds: float) -> str:
    """Return a time as WebVTT writes it."""
    thousandths = max(0, round(1000 * seconds))
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _escaped(text: str) -> str:
    """Return a cue's text so that no sign in it is taken for markup, nor a line of it for the cue's end."""
    escaped = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return "\n".join(line for line in escaped.splitlines() if line.strip())
