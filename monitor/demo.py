"""``chipsong demo``: the main job, on invented sound, from the cut to the restart program."""

import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.errors import ChipsongError
from analysis.events import Alarm
from analysis.figures import sheet, timeline
from analysis.listener import COLUMNS, Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from analysis.program import read
from monitor.journal import Journal, open_run
from monitor.journal.place import runs_folder
from monitor.kept.heard import hearing
from monitor.kept.job import bits_to_plain, keep_program
from monitor.kept.keeping import now
from monitor.listening import ears_for
from monitor.resuming import write_beside
from monitor.review import events_of
from monitor.saving import save, save_picture
from monitor.screen import Screen
from monitor.sources import Block
from monitor.status import Status
from monitor.trouble import warn
from monitor.watch import Outcome, listen
from recordings_synthetic import Recording, Slip, record
from recordings_synthetic.job import BITS, seedling_trays

# Samples a second: enough to hear the hiss of a cut, and quick to compute.
_RATE = 32_000
_SEVERITY = 0.5

_BITS = {0: BITS[1], **BITS}

_PICTURES = ("timeline.png", "sheet.png")


@dataclass(frozen=True)
class _Simulated:
    """A simulated recording as a source, in blocks of a tenth of a second, as a microphone gives them."""

    recording: Recording

    @property
    def rate(self) -> int:
        return self.recording.rate

    @property
    def name(self) -> str:
        return "simulated microphone"

    def blocks(self) -> Iterator[Block]:
        size = self.rate // 10
        for first in range(0, len(self.recording.samples), size):
            yield Block(self.recording.samples[first : first + size])


def run_demo(out: Path, *, seed: int, line: int | None) -> Status:
    """
    Cut the demo job, listen to it as if live, and write what came of it into ``out``.

    Parameters
    ----------
    out
        Folder for all that is written.
    seed
        Of the invented sound.
    line
        Line of the job's file on which the bit comes loose; one in the middle when ``None``.

    Returns
    -------
    Status
        FAILED when the slip was not heard, or something else was taken for one.

    Raises
    ------
    ChipsongError
        When ``out`` cannot be written or holds other files of these names, or nothing is cut on ``line``.
    """
    plan = _plan(out)
    slips = _line_that_cuts(plan, line)
    _say(
        "A batch of seedling trays and plant stands from 12 mm poplar plywood is cut in simulation.",
        "All of it is invented: no machine, no microphone. What a slipping bit sounds like is a hypothesis.",
        f"The bit will come loose on line {slips} of {plan.program.name}. chipsong is not told.",
    )
    heard = _cut(plan, seed, slips)
    _say("Listening to it window by window, as if live. Nobody stops this machine: it cuts to the end.", "")
    journal = _journal(out, heard.rate, plan)
    outcome, restarts = _listen(heard, plan, journal, out)
    pictures = _pictures(out, journal, plan, outcome)
    told = _tell_truth(plan, heard, outcome)
    written = (*pictures, out / plan.program.name, *restarts, journal.folder)
    _say("", "Written:", *(f"  {path}" for path in written))
    _say("", f"To see and hear it: CHIPSONG_HOME={shlex.quote(str(out))} chipsong review")
    return told


def _plan(out: Path) -> Plan:
    """Write the job's program into ``out`` and plan it."""
    path, text = out / "seedling_trays.ngc", seedling_trays()
    _refuse_others(out, path, text)
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ChipsongError(f"cannot make the folder {out} ({error.strerror}): choose another") from error
    save(text, path)
    return Plan.of(read(text, path.name), BITS)


def _refuse_others(out: Path, path: Path, text: str) -> None:
    """Refuse a folder with files that would be written over, unless a demo has written them."""
    if runs_folder(out).is_dir():
        return
    for there in (path, *(out / name for name in _PICTURES)):
        if there.exists() and not (there == path and there.read_bytes() == text.encode()):
            raise ChipsongError(f"{there} is there, and is not of a demo: choose another folder")


def _line_that_cuts(plan: Plan, asked: int | None) -> int:
    """Return the line that was asked for, or one in the middle of what the last bit cuts."""
    moves = plan.program.moves
    if asked is None:
        last = np.flatnonzero(plan.cuts & (moves.bit == moves.bit[-1]))
        return int(moves.file_line[last[len(last) * 2 // 5]])
    if asked not in moves.file_line[plan.cuts]:
        raise ChipsongError(f"no bit comes loose on line {asked}: choose a line that cuts")
    return asked


def _cut(plan: Plan, seed: int, slips: int) -> Recording:
    """Return the sound of the job, in which the bit comes loose on line ``slips``."""
    slip = Slip(at_line=slips, severity=_SEVERITY)
    with _working("Cutting: computing the sound"):
        return record(plan.program, BITS, seed=seed, rate=_RATE, fault=slip)


def _journal(out: Path, rate: int, plan: Plan) -> Journal:
    program = out / plan.program.name
    meta = {"program": str(program), "bits": bits_to_plain(_BITS), "invented": True, "hearing": hearing()}
    journal = Journal.create(out, "demo", meta, rate=rate, columns=COLUMNS, keep_sound=True, now=now)
    keep_program(journal.folder, program.name, program.read_bytes())
    return journal


def _listen(heard: Recording, plan: Plan, journal: Journal, out: Path) -> tuple[Outcome, list[Path]]:
    """Listen to the job; return how it ended, and the restart programs that were written."""
    restarts: list[Path] = []
    listener = Listener(heard.rate, _BITS, SoundLocator(plan))
    screen = Screen(sys.stdout, every=2.0)

    def on_alarm(alarm: Alarm) -> str:
        if alarm.resume is None:
            return "No restart program: the place is unknown."
        path, told = write_beside(plan.program, alarm.resume.file, out)
        restarts.append(path)
        return told

    outcome = listen(_Simulated(heard), listener, ears_for(screen, on_alarm), journal)
    screen.close()
    return outcome, restarts


def _pictures(out: Path, journal: Journal, plan: Plan, outcome: Outcome) -> list[Path]:
    """Draw the run as the journal kept it; return where the pictures are."""
    run = open_run(out, journal.id)
    rows = run.rows()
    paths = [out / name for name in _PICTURES]
    with _working("Drawing"):
        save_picture(timeline(rows.at, rows.values, rows.columns, events_of(run)), paths[0], dpi=120)
        alarm = outcome.alarms[0] if outcome.alarms else None
        save_picture(sheet(plan, outcome.summary.parts, alarm=alarm), paths[1], dpi=120)
    return paths


def _tell_truth(plan: Plan, heard: Recording, outcome: Outcome) -> Status:
    """Say what really happened beside what was heard; return whether that is what the demo is to show."""
    truth, onset = heard.truth, heard.truth.onset or 0.0
    _say("", "What really happened (the simulation knows):")
    _say(f"  the bit came loose at {onset:.1f} s, on line {truth.onset_line} of {plan.program.name}")
    late = [alarm.at - onset for alarm in outcome.alarms if alarm.at >= onset]
    if late:
        _say(f"  chipsong was certain {late[0]:.1f} s later")
    _say(f"  cut with the loose bit, any of it: {', '.join(truth.spoiled) or 'none'}")
    if len(late) < len(outcome.alarms):
        warn("an alarm was raised before the bit came loose: a false one")
    elif not late:
        warn("no alarm was raised: the slip was not heard")
    return Status.FINE if late and len(late) == len(outcome.alarms) else Status.FAILED


@contextmanager
def _working(what: str) -> Iterator[None]:
    """Say what is being done; a terminal shows that it goes on, and for how long already."""
    _say(f"{what} ...")
    if not sys.stdout.isatty():
        yield
        return
    from rich.progress import Progress, SpinnerColumn, TimeElapsedColumn  # noqa: PLC0415 - a terminal only

    with Progress(SpinnerColumn(), TimeElapsedColumn(), transient=True) as progress:
        progress.add_task(what, total=None)
        yield


def _say(*lines: str) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()
