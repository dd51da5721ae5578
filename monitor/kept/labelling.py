"""``chipsong label``: a person says what the alarms of a run were, and what was missed."""

from analysis.errors import JournalError
from monitor.journal import Run, home, open_run
from monitor.kept.heard import bit_at, bits_over_time
from monitor.kept.keeping import shelved
from monitor.kept.labels import Label, fine, is_fine, label, labels, missed, misses, not_fine
from monitor.shelf.accepting import withdraw
from monitor.words import clock


def label_text(name: str) -> str:
    """Return the alarms of a run with their numbers and labels, what was missed, or that all was fine."""
    run = open_run(home(), name)
    known, bits, names = labels(run), bits_over_time(run), shelved(run)

    def where(at: float) -> str:
        bit = names.get(bit_at(at, bits))
        return f"{clock(at):>8}" + (f" ({bit})" if bit else "")

    lines = [
        f"{number:3}  {where(at)}  {known.get(index, 'no label yet')}"
        for number, (index, at) in enumerate(_alarms(run), start=1)
    ]
    lines += [f"     {where(at)}  missed: {what}" for at, what in misses(run).items()]
    lines = lines or ["     no alarm, and nothing is said to have been missed"]
    return "\n".join([f"{run.id}:", *lines, *(["     nothing was wrong in it"] if is_fine(run) else [])])


def label_alarm(name: str, number: int, what: Label) -> str:
    """Say what an alarm of a run was, the first is 1; return what is known of the run now."""
    run = open_run(home(), name)
    alarms = _alarms(run)
    if not 1 <= number <= len(alarms):
        raise JournalError(f"there is no alarm {number} in run {run.id}: it has {len(alarms)}")
    label(run, alarms[number - 1][0], what)
    return "\n".join([label_text(run.id), *withdraw(home(), run)])


def label_missed(name: str, at: float, what: Label) -> str:
    """Say what was so from ``at`` s on though nobody alarmed; return what is known of the run now."""
    run = open_run(home(), name)
    missed(run, at, what)
    return "\n".join([label_text(run.id), *withdraw(home(), run)])


def label_fine(name: str) -> str:
    """Say that nothing was wrong in a run; return what is known of it now."""
    run = open_run(home(), name)
    fine(run)
    return label_text(run.id)


def label_not_fine(name: str) -> str:
    """Take back that nothing was wrong in a run; return what is known of it now."""
    run = open_run(home(), name)
    not_fine(run)
    return "\n".join([label_text(run.id), *withdraw(home(), run)])


def _alarms(run: Run) -> list[tuple[int, float]]:
    """Return index and time of each alarm."""
    return [(index, event.at) for index, event in enumerate(run.events()) if event.name == "alarm"]
