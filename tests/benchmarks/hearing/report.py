"""All tables in one text, with what must be known to run it again."""

import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hearing.least import Measured
from hearing.outcome import Outcome
from hearing.real import Tried
from hearing.seeds import DEVELOPMENT_END, JUDGED
from hearing.store import TOP
from hearing.tables import faults, rivals
from hearing.tables.false_alarms import false_alarms, healthy, hours
from hearing.tables.least import least
from hearing.tables.real import real, untouched
from hearing.work import Wanted

PER_HOURS = 20.0

_HYPOTHESIS = """\
The sound is simulated, and what a slipping bit sounds like is the simulator's hypothesis: these figures say
how well the hearing does on that, not how it will do in your shop."""

_RIVALS = """\
All hear the same windows of the same recordings. The rivals are given more than chipsong: the truth of when
which bit cuts in which kind of cut; each learns from the first seconds of each bit and kind, as chipsong
does, and its score is averaged over a second. `budget`: its threshold is the least that keeps to one false
alarm in 20 h on {hours:.2f} h of healthy development runs (in fewer than 20 h that is none, so the
threshold is their highest score). `hindsight`: the least that raises no more false alarms on the very runs
of this table than chipsong did, which nobody could choose beforehand. A cell: caught, median delay."""

_LEAST = """\
Made-up rows whose before and after are known (normal, deviation 1), fed to the watcher's own comparison with
lower limits than it has in a cut: there false alarms come often enough to be counted. `least` is the delay of
the rule that knows which channels move and by how much, at the same measured time between false alarms
(Moustakides 1986; exact for independent rows, simulated for correlated ones). Not found: not within 20 000
rows; what one sign says alone is not enough for the watcher."""

_REAL = """\
Real recordings of an induction motor through a phone, each played three times on end, the last time with a
modelled once-per-revolution modulation. They were listened to while thresholds were chosen. An alarm counts
within 10 s of the modulation's begin."""


@dataclass(frozen=True, eq=False)
class Results:
    """Everything that is reported."""

    outcomes: Sequence[Outcome]
    least: Sequence[Measured]
    real: Sequence[Tried]


def report(wanted: Wanted, command: str, results: Results) -> str:
    """Return the report in Markdown."""
    return "\n\n".join(_sections(wanted, command, results)) + "\n"


def _sections(wanted: Wanted, command: str, results: Results) -> Iterator[str]:
    judged = [o for o in results.outcomes if o.case.startswith(wanted.use) and not o.failed]
    calibration = [o for o in results.outcomes if o.case.startswith("calibration") and not o.failed]
    yield from ("# How well chipsong hears", _HYPOTHESIS, _origin(wanted, command, judged))
    yield from _failures(results.outcomes)
    kinds = faults.by_kind(judged)
    yield from ("## Faults", _COUNTS, faults.caught(kinds), faults.told(kinds))
    yield from (_STANDING, faults.by_standing(kinds))
    yield from ("### What the caught ones were called", faults.confusion(kinds))
    yield from ("## False alarms", _COMPARED, false_alarms(judged))
    found = rivals.contenders(judged, calibration, PER_HOURS)
    yield from (
        "## Beside what a person would use instead",
        _RIVALS.format(hours=hours(healthy(calibration))),
    )
    yield rivals.side_by_side(judged, found)
    yield from ("## Against the least delay possible", _LEAST)
    yield least(results.least) if results.least else "Not measured: false alarms of the test are too rare."
    yield "## Real sound"
    if results.real:
        yield from (_REAL, real(results.real), untouched(results.real))
    else:
        yield "Not measured: CHIPSONG_RECORDINGS names no folder with recordings."


_COUNTS = """\
A fault begins on a random line of a random bit, once that bit was heard cutting for some seconds. An alarm
counts from the true onset on until the time in the table; one before the onset is false, and lasts: what it
covers is missed. Missed ones are told apart by chipsong's state when the fault began. The delay is from the
true onset in the sound to the alarm. Level change: of the cut, at the microphone, in the ten seconds after
the onset (creeping ones: in the last ten), against the same run without the fault."""

_STANDING = """\
How many slips were caught where the cut was how much louder than the spindle in the air with all else that
sounded, in the minute before the onset, by the simulator's truth: medians over a tenth of a second each."""

_COMPARED = """\
A monitor that hears nothing raises no false alarms: `compared` is the share of the cutting, by the
simulator's truth, whose rows were each compared with a baseline. Rates are of an hour of cutting;
the bound is the exact one of a Poisson count, one-sided."""


def _origin(wanted: Wanted, command: str, judged: Sequence[Outcome]) -> str:
    seeds = sorted(int(outcome.case.split()[-1]) for outcome in judged)
    faulty = sum(outcome.fate is not None for outcome in judged)
    return "\n".join(
        [
            f"- command: `{command}`",
            f"- commit: {commit()}",
            f"- {faulty} faulty runs, {hours(healthy(judged)):.2f} h of healthy cutting",
            f"- {_cost(judged)}",
            f"- seeds: {_KEPT[wanted.use]}; here {seeds[0]} to {seeds[-1]}" if seeds else "- no runs",
        ]
    )


def _cost(judged: Sequence[Outcome]) -> str:
    sound = sum(outcome.sound for outcome in judged) / 3600.0
    took = sum(outcome.took for outcome in judged) / 60.0
    return f"{sound:.2f} h of sound, {took:.0f} min of one core to simulate and to hear, by all rivals too"


_KEPT = {
    "judged": f"from {JUDGED} on: run by this benchmark alone, and nothing was chosen by them",
    "development": f"below {DEVELOPMENT_END}, for DEVELOPMENT: things are chosen by them, they prove nothing",
}


def commit() -> str:
    """Return the commit that is checked out, and whether its files were changed since."""
    try:
        said = [
            subprocess.run(
                ["git", *words], cwd=TOP, capture_output=True, text=True, check=True
            ).stdout.strip()
            for words in (
                ("rev-parse", "--short=12", "HEAD"),
                ("status", "--porcelain", "--untracked-files=no"),
            )
        ]
    except (OSError, subprocess.CalledProcessError):
        return "unknown (no git repository)"
    return f"{said[0]}, with changes that are not committed" if said[1] else said[0]


def _failures(outcomes: Sequence[Outcome]) -> Iterator[str]:
    failed = [outcome for outcome in outcomes if outcome.failed]
    if failed:
        last = str(failed[0].failed).strip().splitlines()[-1]
        yield f"**{len(failed)} runs failed** and are in no table; the first: {failed[0].case}: {last}"
