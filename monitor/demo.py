"""``chipsong demo``: the main job, on invented sound, from the cut to the restart program."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ChipsongError
from analysis.events import Alarm
from analysis.figures import sheet, timeline
from analysis.listener import COLUMNS, Listener
from analysis.locate import ClockLocator, Plan
from analysis.program import Program, read
from monitor.journal import Journal, open_run
from monitor.listening import now, terminal_ears, warn
from monitor.resuming import save, write_beside
from monitor.screen import Screen
from monitor.sources import Block
from monitor.watch import Outcome, listen
from monitor.words import what_to_do
from recordings_synthetic import Recording, Slip, record
from recordings_synthetic.job import BITS, seedling_trays

# Samples a second: enough to hear the hiss of a cut, and quick to compute.
_RATE = 32_000
_SEVERITY = 0.5


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


def run_demo(out: Path, *, seed: int, line: int | None) -> None:
    """
    Cut the demo job, listen to it as if live, and write what came of it into ``out``.

    Raises
    ------
    ChipsongError
        When ``out`` cannot be written.
    """
    path = _prepare(out)
    program = read(path.read_text(encoding="utf-8"), path.name)
    plan = Plan.of(program, BITS)
    slips = line or _middle(plan)
    _say(
        "A batch of seedling trays and plant stands from 12 mm poplar plywood is cut in simulation.",
        "All of it is invented: no machine, no microphone. What a slipping bit sounds like is a hypothesis.",
        f"The compression bit will come loose on line {slips}. chipsong is not told.",
        "Cutting (computing the sound) ...",
    )
    heard = record(program, BITS, seed=seed, rate=_RATE, slip=Slip(at_line=slips, severity=_SEVERITY))
    outcome, listener, journal = _listen(heard, plan, out, path)
    _pictures(out, journal, plan, listener, outcome)
    _close(out, program, heard, outcome, journal)


def _prepare(out: Path) -> Path:
    path = out / "seedling_trays.ngc"
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ChipsongError(f"cannot make the folder {out} ({error.strerror}): choose another") from error
    save(seedling_trays(), path)
    return path


def _middle(plan: Plan) -> int:
    """Return a line in the middle of what the last bit cuts."""
    moves = plan.program.moves
    last = np.flatnonzero(plan.cuts & (moves.bit == moves.bit[-1]))
    return int(moves.file_line[last[len(last) * 2 // 5]])


def _listen(heard: Recording, plan: Plan, out: Path, path: Path) -> tuple[Outcome, Listener, Journal]:
    listener = Listener(heard.rate, {0: BITS[1], **BITS}, ClockLocator(plan))
    meta = {"program": str(path), "invented": True}
    journal = Journal.create(
        out, "demo", meta, rate=heard.rate, columns=COLUMNS, keep_sound=True, now=now
    )
    screen = Screen(sys.stdout, every=2.0)

    def advice(alarm: Alarm) -> str:
        written = write_beside(path, alarm.resume.file, out) if alarm.resume else "The place is unknown."
        return f"{what_to_do()}\n{written}"

    outcome = listen(_Simulated(heard), listener, terminal_ears(screen, advice), journal)
    screen.close()
    return outcome, listener, journal


def _pictures(out: Path, journal: Journal, plan: Plan, listener: Listener, outcome: Outcome) -> None:
    run = open_run(out, journal.id)
    rows = run.rows()
    from monitor.review import from_dict  # noqa: PLC0415

    events = [from_dict(event.body) for event in run.events()]
    timeline(rows.at, rows.values, rows.columns, events).savefig(out / "timeline.png", dpi=120)
    alarm = outcome.alarms[0] if outcome.alarms else None
    sheet(plan, outcome.summary.parts, alarm=alarm).savefig(out / "sheet.png", dpi=120)
    del listener


def _close(out: Path, program: Program, heard: Recording, outcome: Outcome, journal: Journal) -> None:
    truth = heard.truth
    _say("", "What really happened (the simulation knows):")
    if truth.onset is not None:
        _say(f"  the bit came loose at {truth.onset:.1f} s, on line {truth.onset_line} of {program.name}")
        for alarm in outcome.alarms[:1]:
            _say(f"  chipsong was certain {alarm.at - truth.onset:.1f} s later")
    spoiled = ", ".join(truth.spoiled) or "none"
    _say(f"  cut with the loose bit, any of it: {spoiled}", "", "Written:")
    for name in ("timeline.png", "sheet.png", "seedling_trays.ngc"):
        _say(f"  {out / name}")
    _say(*(f"  {path}" for path in sorted(out.glob("restart-at-line-*.ngc"))), f"  {journal.folder}")
    if not outcome.alarms:
        warn("no alarm was raised")


def _say(*lines: str) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()


Samples = NDArray[np.float32]
