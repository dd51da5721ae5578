"""``chipsong accept``: a bit's reference is made of runs that a person accepted, and of no others."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from analysis.baseline import Baseline
from analysis.errors import JournalError
from monitor.journal import Run, home, open_run
from monitor.kept.doubts import doubts
from monitor.kept.heard import baselines_of, bit_at, bits_over_time
from monitor.kept.keeping import now, shelved
from monitor.kept.labels import labels, misses, refuse_while_heard
from monitor.rehear.again import Judged, hear_again
from monitor.rehear.today import heard_of
from monitor.shelf.bits import same_name
from monitor.shelf.references import Book, Step, accept_step, books, plain_baselines, reference_of
from monitor.words import clock

_FEW = 3


def accept(name: str) -> str:
    """
    Make a run part of the references of its bits; return what to say.

    Raises
    ------
    JournalError, ShelfError
        When there is no such run, it is being heard, or nothing of it can be accepted; the text says why.
    """
    run = open_run(home(), name)
    refuse_while_heard(run)
    names = shelved(run)
    if not names:
        raise JournalError(
            f"no bit of run {run.id} is on the shelf: put it there, then listen with --bit or its T number"
        )
    refused = {names[bit]: why for bit, why in _doubts(run).items() if bit in names}
    learned = _by_name(names, _learned(run))
    said = [f"{bit}: not accepted, {why}" for bit, why in refused.items()]
    good = {bit: kinds for bit, kinds in learned.items() if bit not in refused}
    if not good:
        raise JournalError("; ".join(said) or f"nothing was learned in run {run.id}: it cut for too short")
    for bit, kinds in good.items():
        number = next(number for number in names if names[number] == bit)
        step = Step(now().isoformat(), run.id, heard_of(run, number), plain_baselines(kinds))
        said.append(book_text(accept_step(home(), bit, step)))
    return "\n".join(said)


def _by_name(
    names: Mapping[int, str], learned: Mapping[int, Mapping[str, Baseline]]
) -> dict[str, dict[str, Baseline]]:
    """Return what was learned of each bit; one that was named stands for every T number of its program."""
    found: dict[str, dict[str, Baseline]] = {}
    for bit, kinds in learned.items():
        if bit in names:
            found.setdefault(names[bit], {}).update(kinds)
    return found


def take_back(name: str | None) -> str:
    """
    Take back the acceptance of a run, of the last one if none is named; return what to say.

    Raises
    ------
    JournalError
        When no acceptance is there to be taken back.
    """
    last = _last_accepted(books(home()))
    run = open_run(home(), name).id if name else last.run if last else None
    meant = _accepted_of(home(), run) if run else []
    if not meant:
        raise JournalError(f"run {run} is not accepted" if name else "no run is accepted")
    said = [f"Taken back: run {run}"]
    for book, step in meant:
        undo = replace(step, at=now().isoformat(), baselines=None)
        said.append(book_text(accept_step(home(), book.bit, undo)))
    return "\n".join(said)


def _last_accepted(known: Iterable[Book]) -> Step | None:
    """
    Return what was accepted last and still is.

    In a book the order tells that, for clocks are set back; between books the clock does, whatever its zone.
    """
    lasts = (max(book.accepted(), key=book.place) for book in known if book.accepted())
    return max(lasts, key=lambda step: datetime.fromisoformat(step.at).timestamp(), default=None)


def withdraw(home: Path, run: Run) -> list[str]:
    """
    Take a run out of the references of those bits that, by what is said of it now, were not tight in it.

    Returns what to say: nothing where it is part of none.
    """
    names = shelved(run)
    wrong = {names[bit]: why for bit, why in _doubts(run).items() if bit in names}
    said = []
    for book, step in _accepted_of(home, run.id):
        why = next((why for bit, why in wrong.items() if same_name(bit, book.bit)), None)
        if why is not None:
            accept_step(home, book.bit, replace(step, at=now().isoformat(), baselines=None))
            said.append(f"{book.bit}: run {run.id} is no part of its reference any more, {why}")
    return said


def _accepted_of(home: Path, run: str) -> list[tuple[Book, Step]]:
    """Return the books that a run is part of, and as what."""
    return [(book, step) for book in books(home) for step in book.accepted() if step.run == run]


def standing(home: Path, run: str) -> list[str]:
    """Return in words of which references a run is part, and of which it was."""
    last = [(book.bit, step) for book in books(home) for step in book.steps if step.run == run]
    return [
        f"It is part of the reference of '{bit}'."
        if step.baselines is not None
        else f"It is no part of the reference of '{bit}' any more."
        for bit, step in dict(last).items()
    ]


def references_text() -> str:
    """Return the references that there are."""
    known = books(home())
    return "\n".join(map(book_text, known)) if known else "No run is accepted yet: `chipsong accept RUN`."


def book_text(book: Book) -> str:
    """Return what is in the book of a bit: its version, from how many runs, and how alike they are."""
    if not book.steps:
        return f"{book.bit}: no reference, no run is accepted yet"
    lines = [f"{book.bit}: reference version {book.version}" + ("" if book.accepted() else ", of no run")]
    groups = book.groups()
    several = len({heard.cutter for heard in groups}) > 1
    paces = any(not heard.has_like_windows(other) for heard in groups for other in groups)
    for heard, steps in groups.items():
        cutter = f", with {heard.cutter}" if several and heard.cutter else ""
        if paces and heard.slowest is not None:
            cutter += f", in jobs down to {heard.slowest:.0f} rpm"
        try:
            alike = f"from run to run their signs differ by about {reference_of(steps).alike:.1f} dB"
        except ValueError as error:
            alike = f"not to be used: {error}"
        few = " (mostly a judgement: so few runs tell little of that)" if len(steps) < _FEW else ""
        lines.append(f"  {heard}{cutter}: from {len(steps)} run{'s' if len(steps) > 1 else ''}, {alike}{few}")
    return "\n".join(lines)


def _doubts(run: Run) -> dict[int, str]:
    """Return why bits of a run cannot be accepted, by T number."""
    known, bits = labels(run), bits_over_time(run)
    wrong = [
        (event.at, f"its alarm at {clock(event.at)} is not labelled as nothing")
        for index, event in enumerate(run.events())
        if event.name == "alarm" and known.get(index) != "nothing"
    ]
    wrong += [(at, f"it is said to have been {what} from {clock(at)} on") for at, what in misses(run).items()]
    unsettled = {
        bit: f"it was in doubt at {clock(at)}: if you know that it was tight, "
        f"say `chipsong label {run.id} --fine` first"
        for bit, at in doubts(run).items()
    }
    return unsettled | {bit_at(at, bits): why for at, why in wrong}


def _learned(run: Run) -> Mapping[int, Mapping[str, Baseline]]:
    """Return what was learned in a run; it is heard again where that was not kept as the run's own."""
    refused = any(event.name == "checked" and event.body["verdict"] == "loose" for event in run.events())
    try:
        own = {} if refused else baselines_of(run)
    except ValueError:
        own = {}
    return own or hear_again(run, Judged()).baselines
