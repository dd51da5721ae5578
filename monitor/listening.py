"""``chipsong replay`` and ``chipsong watch``."""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from analysis.errors import JournalError
from analysis.events import Alarm, Event, to_dict
from analysis.listener import COLUMNS, Listener
from monitor.cli import ALARM, FAILED, NO_ALARM
from monitor.journal import Journal, home
from monitor.resuming import write_beside
from monitor.screen import Screen
from monitor.setup import Wanted, make_listener
from monitor.sources import Microphone, Recording
from monitor.watch import Ears, Outcome, listen
from monitor.words import CAUTIONS, event_text, what_to_do


def now() -> datetime:
    """Return the time on the wall."""
    return datetime.now().astimezone()


def warn(text: str) -> None:
    """Say a line of trouble on standard error."""
    sys.stderr.write(f"chipsong: {text}\n")
    sys.stderr.flush()


def json_ears() -> Ears:
    """Write each event as one JSON object a line."""

    def say(event: Event) -> None:
        sys.stdout.write(json.dumps(to_dict(event)) + "\n")
        sys.stdout.flush()

    return Ears(say, warn=warn)


def terminal_ears(screen: Screen, after_alarm: Callable[[Alarm], str]) -> Ears:
    """Write each event in words, and what to do after an alarm."""

    def say(event: Event) -> None:
        screen.event(event_text(event))
        if isinstance(event, Alarm):
            screen.event("\a" + after_alarm(event))

    return Ears(say, screen.progress, warn)


def replay(recording: Path, wanted: Wanted, *, as_json: bool, keep: bool) -> int:
    """Listen to a recording; return the exit status."""
    with Recording(recording) as source:
        listener = make_listener(source.rate, wanted, home())
        journal = _open(recording.stem, wanted, source.rate, keep_sound=True) if keep else None
        screen = Screen(sys.stdout)
        ears = json_ears() if as_json else terminal_ears(screen, lambda alarm: _advice(alarm, wanted))
        outcome = listen(_Seconds(source), listener, ears, journal)
        screen.close()
    _tell_kept(journal, as_json=as_json)
    return status(outcome)


@dataclass(frozen=True)
class _Seconds:
    """A recording in blocks of a second: larger blocks are heard faster, and decide alike."""

    recording: Recording

    @property
    def rate(self) -> int:
        return self.recording.rate

    @property
    def name(self) -> str:
        return self.recording.name

    def blocks(self):  # type: ignore[no-untyped-def]  # noqa: ANN201
        return self.recording.blocks(self.recording.rate)


@dataclass(frozen=True)
class Live:
    """
    How to listen live.

    Attributes
    ----------
    device, rate
        Which microphone, and its samples per second.
    seconds
        After how many to stop.
    title
        What to call the run.
    keep_sound
        Whether sound is kept.
    """

    device: str | None
    rate: int | None
    seconds: float | None
    title: str | None
    keep_sound: bool


def watch(live: Live, wanted: Wanted, *, as_json: bool) -> int:
    """Listen to the microphone; return the exit status."""
    with Microphone(live.device, live.rate) as source:
        listener = make_listener(source.rate, wanted, home())
        title = live.title or (wanted.program.stem if wanted.program else "watch")
        journal = _open(title, wanted, source.rate, keep_sound=live.keep_sound)
        screen = Screen(sys.stdout)
        if not as_json:
            screen.event(_greeting(source, journal, keep_sound=live.keep_sound))
        folder = journal.folder if journal else None
        ears = json_ears() if as_json else terminal_ears(screen, lambda alarm: _advice(alarm, wanted, folder))
        if live.seconds is not None:
            ears.stop = lambda heard: heard.at >= (live.seconds or 0.0)
        outcome = listen(source, listener, ears, journal)
        screen.close()
    _tell_kept(journal, as_json=as_json)
    return status(outcome)


def _greeting(source: Microphone, journal: Journal | None, *, keep_sound: bool) -> str:
    kept = "The run is not kept."
    if journal is not None:
        kept = f"The run is kept in {journal.folder}" + (
            "; voices near the microphone are on it too." if keep_sound else ", without its sound."
        )
    lines = [f"Listening to {source.name} at {source.rate} Hz. End with Ctrl-C.", kept, *CAUTIONS]
    return "\n".join(lines)


def _advice(alarm: Alarm, wanted: Wanted, folder: Path | None = None) -> str:
    """Return what to do now; write the restart program at once where there is a place for it."""
    lines = [what_to_do()]
    if alarm.resume is not None and wanted.program is not None:
        if folder is not None:
            lines.append(write_beside(wanted.program, alarm.resume.file, folder))
        else:
            lines.append(f"Restart program: chipsong resume {wanted.program} --line {alarm.resume.file}")
    return "\n".join(lines)


def _open(title: str, wanted: Wanted, rate: int, *, keep_sound: bool) -> Journal | None:
    meta = {
        "program": str(wanted.program) if wanted.program else None,
        "bit": wanted.bit,
        "rpm": wanted.speed,
        "flutes": wanted.flutes,
        "diameter": wanted.diameter,
    }
    try:
        return Journal.create(
            home(), title, meta, rate=rate, columns=COLUMNS, keep_sound=keep_sound, now=now
        )
    except JournalError as error:
        warn(f"{error}; listening goes on without keeping the run")
        return None


def _tell_kept(journal: Journal | None, *, as_json: bool) -> None:
    if journal is not None and not as_json:
        sys.stdout.write(f"Kept: {journal.folder}\n")


def status(outcome: Outcome) -> int:
    """Return the exit status; a run in which nothing could be compared is no success."""
    if outcome.trouble:
        warn(outcome.trouble)
    if outcome.alarms:
        return ALARM
    if outcome.trouble:
        return FAILED
    if outcome.summary.heard_s == 0.0:
        warn("nothing usable was heard from beginning to end: check the microphone or the recording")
        return FAILED
    return NO_ALARM
