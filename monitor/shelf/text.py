"""``chipsong bits``: the shelf in words, and changes to it."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from analysis.errors import JournalError, ShelfError
from monitor.journal import Run, home, runs
from monitor.kept.heard import cut_seconds
from monitor.kept.keeping import shelved
from monitor.setup import SHELF, settings_from
from monitor.shelf.accepting import book_text
from monitor.shelf.bits import Entry, Shelf, Thresholds, read_shelf, same_name
from monitor.shelf.references import Book, Cutter, note_cutter, read_book
from monitor.shelf.table import KEYS
from monitor.shelf.writing import add_bit, change_bit, remove_bit
from monitor.trouble import one_line, warn


def list_text(*, as_json: bool) -> str:
    """Return the bits on the shelf, a line each."""
    shelf = _shelf()
    if as_json:
        return "".join(f"{json.dumps(_plain(entry), ensure_ascii=False)}\n" for entry in shelf.entries)
    if not shelf.entries:
        return f"No bits are on the shelf yet: `chipsong bits add` puts one into {shelf.path}."
    width = max(len(entry.bit.name) for entry in shelf.entries)
    return "\n".join(f"{entry.bit.name:{width}}  {_short(entry)}" for entry in shelf.entries)


def bit_text(name: str, *, as_json: bool) -> str:
    """
    Return all that is known of a bit.

    Raises
    ------
    ShelfError
        When there is no such bit.
    """
    entry = _shelf().entry(name)
    if as_json:
        book = read_book(home(), entry.bit.name)
        known = {"version": book.version, "runs": [step.run for step in book.accepted()]}
        more = {"cut_hours": round(hours_of(entry.bit.name), 3), "reference": known}
        return json.dumps({**_plain(entry), **more}, ensure_ascii=False)
    return "\n".join([entry.bit.name, *_lines(entry)])


def add(name: str, told: Mapping[str, Any]) -> str:
    """Put a bit on the shelf; return what it is now."""
    add_bit(_path(), {"name": name, **_numbers(told)})
    return f"On the shelf: {bit_text(name, as_json=False)}"


def change(name: str, told: Mapping[str, Any]) -> str:
    """Change what the shelf says of a bit; return what it is now."""
    for key in told:
        if key not in KEYS or key == "name":
            allowed = ", ".join(key for key in KEYS if key != "name")
            raise ShelfError(f"'{key}' is nothing that can be changed of a bit, only {allowed}")
    if told.keys() & {"diameter", "flutes"}:
        bit = _shelf().entry(name).bit
        note_cutter(home(), bit.name, Cutter.of(bit))
    change_bit(_path(), name, _numbers(told))
    return f"Changed: {bit_text(name, as_json=False)}"


def remove(name: str) -> str:
    """Take a bit off the shelf; return what to say of it."""
    remove_bit(_path(), name)
    return f"'{name}' is off the shelf."


def _path() -> Path:
    return home() / SHELF


def _shelf() -> Shelf:
    return read_shelf(_path())


def _numbers(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is said, whole numbers as a person would write them."""
    return {
        key: int(value) if isinstance(value, float) and value.is_integer() else value
        for key, value in told.items()
    }


def _short(entry: Entry) -> str:
    bit = entry.bit
    said = [f"{bit.diameter:g} mm", _flutes(entry), entry.kind]
    said += [f"{bit.speed:g} rpm"] if bit.speed else []
    said += [f"T{entry.tool}"] if entry.tool is not None else []
    said += [entry.material] if entry.material else []
    return ", ".join(said)


def _flutes(entry: Entry) -> str:
    return f"{entry.bit.flutes} flute{'s' if entry.bit.flutes > 1 else ''}"


def _lines(entry: Entry) -> list[str]:
    lines = [f"  {_short(entry)}", f"  {_bearable(entry.thresholds)}"]
    lines += [f"  in {name}: {_bearable(entry.thresholds_in(name))}" for name in entry.others]
    lines += [f"  collet: {entry.care}"] if entry.care else []
    cut = hours_of(entry.bit.name)
    heard = f"{cut:.1f} h" if cut >= 1.0 else f"{60.0 * cut:.1f} min"
    lines.append(f"  heard cutting for {heard} in runs that were kept")
    book = read_book(home(), entry.bit.name)
    return [*lines, *(f"  {line}" for line in [*book_text(book).splitlines(), *_void(entry, book)])]


def _void(entry: Entry, book: Book) -> list[str]:
    """Return what to say of accepted runs in which the bit was another than it is now."""
    cutter = Cutter.of(entry.bit)
    others = {step.heard.cutter for step in book.accepted() if step.heard.cutter is not None}
    return [
        f"  runs with {other} are compared with no more: accept runs of the bit as it is now"
        for other in sorted(others)
        if not other.is_like(cutter)
    ]


def hours_of(name: str) -> float:
    """Return for how many hours a bit was heard cutting, in the runs that were kept."""
    seconds = 0.0
    for run in runs(home()):
        numbers = [number for number, shelf_name in shelved(run).items() if same_name(shelf_name, name)]
        if numbers:
            seconds += _seconds_of(run, numbers)
    return seconds / 3600.0


def _seconds_of(run: Run, numbers: Sequence[int]) -> float:
    """Return for how many seconds bits were heard cutting in a run; one that is damaged is passed over."""
    try:
        cut = cut_seconds(run)
    except JournalError as error:
        warn(f"{run.id} is passed over: {one_line(error)}")
        return 0.0
    return sum(cut.get(number, 0.0) for number in numbers)


def _bearable(told: Thresholds) -> str:
    if told == Thresholds():
        return "thresholds: as usual"

    settings = settings_from(told)
    budget = f"bearable false alarms: {settings.false_alarms:g} in {settings.hours:g} h"
    return f"{budget}; the limit is {settings.factor:g} times what follows from that"


def _plain(entry: Entry) -> dict[str, Any]:
    return {
        "name": entry.bit.name,
        "diameter": entry.bit.diameter,
        "flutes": entry.bit.flutes,
        "kind": entry.kind,
        "speed": entry.bit.speed,
        "tool": entry.tool,
        "material": entry.material,
        "care": entry.care,
        **vars(entry.thresholds),
        "in": {name: vars(thresholds) for name, thresholds in entry.others.items()},
    }
