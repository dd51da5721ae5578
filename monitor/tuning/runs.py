"""What the labelled runs of a bit tell, heard again."""

import math
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

from analysis.errors import ChipsongError, JournalError
from analysis.tape import Tape
from analysis.tuning import Told
from analysis.watcher import Settings
from monitor.again import tape_of
from monitor.bits import Entry, same_name
from monitor.heard import bit_at
from monitor.journal import Run, home, open_run, runs
from monitor.keeping import material_of, shelved
from monitor.labels import is_labelled, labels, misses
from monitor.many import Workers, for_each
from monitor.trouble import one_line, warn

# An alarm so long, s, before a fault is said to have begun is that fault's.
_EARLY = 1.0


def labelled_runs(entry: Entry, material: str | None) -> list[Run]:
    """
    Return the runs with labels that the bit cut this material in, the oldest first.

    Raises
    ------
    JournalError
        When there are none.
    """
    wanted = material or entry.material
    found = []
    for run in runs(home()):
        for number in _numbers(run, entry):
            cut = material_of(run, number)
            if same_name(cut or "", wanted or "") and is_labelled(run):
                found.append(run)
                break
    if not found:
        raise JournalError(
            f"no run with '{entry.bit.name}' in {wanted or 'no material said'} is labelled: "
            f"say of runs what they were with `chipsong label`"
        )
    return found[::-1]


def _numbers(run: Run, entry: Entry) -> list[int]:
    return [number for number, name in shelved(run).items() if same_name(name, entry.bit.name)]


def hear_runs(
    entry: Entry, names: Sequence[str], factors: Sequence[float], settings: Settings, workers: Workers
) -> tuple[Told, ...]:
    """
    Hear runs again, and return what each tells of each limit; one that can't be heard is passed over.

    Raises
    ------
    JournalError
        When none tells anything.
    """
    tried = [_with_factor(settings, factor) for factor in factors]
    heard: list[Told] = []
    telling = for_each(partial(_tell, home(), entry, tried), names, workers, lambda _name, why: why)
    for name, found in zip(names, telling, strict=True):
        if isinstance(found, str):
            warn(f"{name} is passed over: {found}")
        else:
            heard.append(found)
    if not sum(told.hours for told in heard):
        raise JournalError(f"no labelled run of '{entry.bit.name}' tells how it sounds when nothing is wrong")
    return tuple(heard)


def _with_factor(settings: Settings, factor: float) -> Settings:
    return Settings(false_alarms=settings.false_alarms, hours=settings.hours, factor=factor)


def _tell(folder: Path, entry: Entry, tried: Sequence[Settings], name: str) -> Told | str:
    """Return what a run tells, or why it can't be heard again: one bad run must not end all others."""
    try:
        run = open_run(folder, name)
        tape = tape_of(run)
        told = [_told_of(run, tape, number, tried) for number in _numbers(run, entry)]
    except ChipsongError as error:
        return one_line(error)
    except Exception as error:  # noqa: BLE001 - as above
        return f"it broke down: {one_line(error)}"
    # A run has the bit under one number, or under several when it was named for all of them.
    return _together(run.id, told)


def _told_of(run: Run, tape: Tape, number: int, tried: Sequence[Settings]) -> Told:
    onset = min(_faults(run, number), default=math.inf)
    heard = [tape.alarms(number, settings) for settings in tried]
    false = tuple(sum(alarm.at < onset - _EARLY for alarm in alarms) for alarms in heard)
    hours = tape.cut_seconds(number, onset) / 3600.0
    if onset == math.inf:
        return Told(run.id, hours, false)
    after = [[alarm.at for alarm in alarms if alarm.at >= onset - _EARLY] for alarms in heard]
    delays = tuple(max(0.0, at[0] - onset) if at else math.inf for at in after)
    return Told(run.id, hours, false, delays)


def _faults(run: Run, number: int) -> Iterator[float]:
    """Give when something is said to have begun to go wrong with the bit of a T number, s."""
    known = labels(run)
    for index, event in enumerate(run.events()):
        if known.get(index, "nothing") != "nothing" and bit_at(run, event.at) == number:
            yield float(event.body["onset"])
    yield from (at for at in misses(run) if bit_at(run, at) == number)


def _together(name: str, told: Sequence[Told]) -> Told:
    faults = [each.delays for each in told if each.delays is not None]
    false = tuple(map(sum, zip(*(each.false for each in told), strict=True)))
    return Told(name, sum(each.hours for each in told), false, faults[0] if faults else None)
