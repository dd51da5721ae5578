"""How a run that was kept would be judged today: by the shelf and the references as they are now."""

from collections.abc import Mapping
from pathlib import Path

from analysis.asked_speed import slowest_of
from analysis.watcher import Settings
from monitor.journal import Run
from monitor.kept.job import bits_of
from monitor.kept.keeping import material_of, shelved
from monitor.rehear.again import Judged
from monitor.setup import settings_from
from monitor.shelf.bits import Entry, Shelf, same_name
from monitor.shelf.references import Cutter, Heard, read_book


def entry_of(run: Run, number: int, shelf: Shelf) -> Entry | None:
    """Return what the shelf says now of the bit of a T number; ``None`` where it says nothing any more."""
    name = shelved(run).get(number)
    return next((entry for entry in shelf.entries if name and same_name(entry.bit.name, name)), None)


def heard_of(run: Run, number: int) -> Heard:
    """Return what a bit cut in a run, by its T number, what heard it, and what the bit was."""
    bits = bits_of(run)
    bit = bits.get(number, bits.get(0))
    return Heard(
        material_of(run, number),
        run.meta.get("microphone"),
        Cutter.of(bit) if bit else None,
        slowest_of(bits) if bits else None,
    )


def judged_today(run: Run, shelf: Shelf, home: Path) -> Judged:
    """Return how a run would be judged today; no run is compared with a reference that it is part of."""
    entries = {number: entry_of(run, number, shelf) for number in shelved(run)}
    known = {number: entry for number, entry in entries.items() if entry is not None}
    references = {
        number: reference
        for number, entry in known.items()
        if (reference := read_book(home, entry.bit.name).reference(heard_of(run, number), without=run.id)[0])
    }
    return Judged(references, settings_of=_settings(run, known))


def _settings(run: Run, entries: Mapping[int, Entry]) -> dict[int, Settings]:
    return {
        number: settings_from(entry.thresholds_in(material_of(run, number)))
        for number, entry in entries.items()
    }
