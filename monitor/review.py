"""``chipsong runs``: what was kept."""

from analysis.errors import JournalError
from analysis.events import Event, from_dict
from monitor.actions.telling import ACTION, kept_text
from monitor.journal import Run, home, open_run, runs
from monitor.words import clock, count, event_text


def list_text() -> str:
    """Return the runs that were kept, the newest first, a line each."""
    kept = runs(home())
    if not kept:
        return f"No runs are kept in {home()} yet."
    return "\n".join(map(_line, kept))


def run_text(name: str) -> str:
    """
    Return what was heard in a run, in words.

    Raises
    ------
    JournalError
        When there is no such run, or it cannot be understood.
    """
    run = open_run(home(), name)
    return "\n".join([_line(run), *_told(run)])


def _told(run: Run) -> list[str]:
    """Return in words what was heard, and what became of actions, in order."""
    heard = iter(events_of(run))
    kept = run.events()
    return [kept_text(one.body) if one.name == ACTION else event_text(next(heard)) for one in kept]


def events_of(run: Run) -> tuple[Event, ...]:
    """
    Return what was heard in a run.

    Raises
    ------
    JournalError
        When an event in it cannot be understood.
    """
    try:
        return tuple(from_dict(kept.body) for kept in run.events() if kept.name != ACTION)
    except ValueError as error:
        raise JournalError(f"run {run.id} cannot be understood: {error}") from error


def _line(run: Run) -> str:
    if run.summary is None:
        return f"{run.id}  {run.title}: not brought to its end"
    return f"{run.id}  {run.title}: {clock(float(run.summary['at']))}, {count(run.summary['alarms'])}"
