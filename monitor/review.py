"""``chipsong runs``: what was kept."""

from analysis.events import Alarm, Deaf, Event, Heard, PartVerdict, Place, ResumeLine, StateChange, Summary
from monitor.journal import Run, home, open_run, runs
from monitor.words import clock, event_text


def list_text() -> str:
    """Return the runs that were kept, the newest first, a line each."""
    kept = runs(home())
    if not kept:
        return f"No runs are kept in {home()} yet."
    return "\n".join(_line(run) for run in kept)


def _line(run: Run) -> str:
    if run.summary is None:
        how = "not brought to its end"
    else:
        how = f"{clock(float(run.summary['at']))}, {run.summary['alarms']} alarms"
    return f"{run.id}  {run.title}: {how}"


def run_text(name: str) -> str:
    """
    Return what was heard in a run, in words.

    Raises
    ------
    JournalError
        When there is no such run.
    """
    run = open_run(home(), name)
    events = [from_dict(event.body) for event in run.events()]
    return "\n".join([_line(run), *(event_text(event) for event in events)])


def from_dict(body: dict[str, object]) -> Event:
    """Return the event that :func:`analysis.events.to_dict` made ``body`` of."""
    values = {key: value for key, value in body.items() if key != "event"}
    match body["event"]:
        case "state":
            return StateChange(**values)  # type: ignore[arg-type]
        case "deaf":
            return Deaf(**values)  # type: ignore[arg-type]
        case "heard":
            return Heard(**values)  # type: ignore[arg-type]
        case "alarm":
            return _alarm(values)
        case _:
            return _summary(values)


def _alarm(values: dict[str, object]) -> Alarm:
    line, resume = values.pop("line"), values.pop("resume")
    because = tuple(values.pop("because"))  # type: ignore[arg-type]
    place = None
    if isinstance(line, dict):
        place = Place(line["file"], line["word"], line["from"], line["to"], line["source"])
    back = ResumeLine(resume["file"], resume["word"]) if isinstance(resume, dict) else None
    return Alarm(**values, because=because, line=place, resume=back)  # type: ignore[arg-type]


def _summary(values: dict[str, object]) -> Summary:
    parts = values.pop("parts")
    told = tuple(
        PartVerdict(part["name"], part["from"], part["to"], part["verdict"])
        for part in parts  # type: ignore[attr-defined]
    )
    return Summary(**values, parts=told)  # type: ignore[arg-type]
