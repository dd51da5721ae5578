"""
The shelf: all bits that are known, in a file that a person reads and writes.

::

    # bits.toml
    [[bit]]
    name = "6 mm up-cut"
    diameter = "6mm"         # or "0.25in", "1/4in"; a bare number is mm
    flutes = 2
    kind = "up-cut"          # or down-cut, compression, straight, ball, v
    speed = 18000            # rpm, where the program says none; optional, as all below
    tool = 1                 # its T number
    material = "plywood"     # what it usually cuts
    care = "blow out the collet, tighten at 20 mm of grip"
    false_alarms = 1         # how many are bearable ...
    hours = 20               # ... in so many hours of cutting
    limit = 1.1              # times the limit that follows from these
    in = { mdf = { limit = 0.9 } }    # what differs in other materials
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from analysis.cutting import MM_PER_INCH, Bit
from analysis.errors import ShelfError
from monitor.tables import read_tables

KINDS = ("up-cut", "down-cut", "compression", "straight", "ball", "v")

_LENGTH = re.compile(r"\s*(?P<number>\d+/\d+|\d*\.?\d+|\d+\.)\s*(?P<unit>mm|in|inch|\"|)\s*", re.IGNORECASE)


def parse_length(text: str) -> float:
    """
    Return a length in mm.

    Parameters
    ----------
    text
        ``"6.35mm"``, ``"0.25in"``, ``"1/4in"`` or, in mm, ``"6.35"``; a fraction never without its unit.

    Raises
    ------
    ValueError
        When it is not a length, or not more than nothing.

    Examples
    --------
    >>> parse_length("1/4in")
    6.35
    """
    length = _length_in_mm(text)
    if length is None:
        raise ValueError(f"'{text}' is not a length: write it as 6.35mm or 0.25in")
    if not 0 < length < math.inf:
        raise ValueError(f"'{text}' must be more than nothing: write it as 6.35mm or 0.25in")
    return length


def parse_height(text: str) -> float:
    """
    Return a height in mm, written as a length (`parse_length`): it may be nothing, or less.

    Raises
    ------
    ValueError
        When it is not a height.

    Examples
    --------
    >>> parse_height("0"), parse_height("-1/2in")
    (0.0, -12.7)
    """
    below = text.startswith("-")
    length = _length_in_mm(text[below:])
    if length is None or length == math.inf:
        raise ValueError(f"'{text}' is not a height: write it as 12mm, 0.5in or 0")
    return -length if below and length else length


def _length_in_mm(text: str) -> float | None:
    found = _LENGTH.fullmatch(text)
    if found is None or found["number"].endswith("/0"):
        return None
    if "/" in found["number"] and not found["unit"]:  # whoever writes one hardly means mm
        raise ValueError(f"'{text}' has no unit: write it as {text.strip()}in, 6.35mm or 0.25in")
    return float(Fraction(found["number"])) * (1.0 if found["unit"].lower() in {"", "mm"} else MM_PER_INCH)


@dataclass(frozen=True)
class Thresholds:
    """
    What the shelf says of when to alarm; ``None`` where it says nothing.

    Attributes
    ----------
    false_alarms, hours
        How many false alarms in how many hours of cutting are bearable.
    limit
        What the limit that follows from them is multiplied by.
    """

    false_alarms: float | None = None
    hours: float | None = None
    limit: float | None = None

    def over(self, others: "Thresholds") -> "Thresholds":
        """Return these, and the others where these say nothing."""
        told = {name: value for name, value in vars(self).items() if value is not None}
        return Thresholds(**{**vars(others), **told})


@dataclass(frozen=True)
class Entry:
    """
    What the shelf says about one bit.

    Attributes
    ----------
    bit
        The bit as it is listened to.
    kind
        One of `KINDS`.
    tool
        Its T number; ``None`` when it has none.
    material
        What it usually cuts; ``None`` when nobody said.
    care
        How its collet is to be cared for; ``None`` when nobody said.
    thresholds
        When to alarm.
    others
        What of that is otherwise in other materials.
    """

    bit: Bit
    kind: str
    tool: int | None = None
    material: str | None = None
    care: str | None = None
    thresholds: Thresholds = Thresholds()
    others: Mapping[str, Thresholds] = field(default_factory=dict)

    def thresholds_in(self, material: str | None) -> Thresholds:
        """Return when to alarm in a material; in its usual one if that is not said."""
        own = [told for name, told in self.others.items() if material and same_name(name, material)]
        return own[0].over(self.thresholds) if own else self.thresholds


@dataclass(frozen=True)
class Shelf:
    """
    All bits that are known.

    Attributes
    ----------
    path
        The file that says so.
    entries
        One for each bit, in the file's order.
    """

    path: Path
    entries: tuple[Entry, ...] = ()

    def find(self, name: str) -> Bit:
        """Return the bit of this name, see `entry`."""
        return self.entry(name).bit

    def entry(self, name: str) -> Entry:
        """
        Return what is known of the bit of this name; case does not matter.

        Raises
        ------
        ShelfError
            When there is none; the text lists those that there are.
        """
        for entry in self.entries:
            if same_name(entry.bit.name, name):
                return entry
        if not self.entries:
            raise ShelfError(
                f"there is no bit '{name}', the shelf {self.path} is empty: `chipsong bits add` puts it there"
            )
        known = ", ".join(f"'{entry.bit.name}'" for entry in self.entries)
        raise ShelfError(f"there is no bit '{name}' in {self.path}: it has {known}")

    def by_tool(self, number: int) -> Bit | None:
        """Return the bit with this T number, ``None`` when no bit has it."""
        return next((entry.bit for entry in self.entries if entry.tool == number), None)


def read_shelf(path: Path) -> Shelf:
    """
    Read the shelf; where there is no file the shelf is empty.

    Raises
    ------
    ShelfError
        When something in it is wrong: the text names the file, the bit, the key, the value, and what is
        allowed.
    """
    tables = read_tables(path)
    if not tables:
        return Shelf(path)
    return check_shelf(path, tables)


def check_shelf(path: Path, tables: Mapping[str, Any]) -> Shelf:
    """
    Return the shelf that the tables of its file say.

    Raises
    ------
    ShelfError
        See `read_shelf`.
    """
    from monitor.shelf.table import entries_of  # noqa: PLC0415 - pydantic is slow to load

    try:
        entries = entries_of(tables)
        _check_unique(entries)
    except ValueError as error:
        raise ShelfError(f"{path}: {error}") from error
    return Shelf(path, entries)


def _check_unique(entries: tuple[Entry, ...]) -> None:
    for number, entry in enumerate(entries):
        for other in entries[:number]:
            if same_name(other.bit.name, entry.bit.name):
                raise ValueError(f"two bits have the name '{entry.bit.name}': give one of them another")
            if entry.tool is not None and entry.tool == other.tool:
                raise ValueError(
                    f"'{other.bit.name}' and '{entry.bit.name}' both have tool = {entry.tool}: change one"
                )
        materials = list(entry.others)
        for count, material in enumerate(materials):
            if any(same_name(material, other) for other in materials[:count]):
                raise ValueError(
                    f"'{entry.bit.name}' has the material '{material}' twice in its `in`: take one out"
                )


def same_name(name: str, other: str) -> bool:
    """Return whether two names mean the same bit or material: case does not matter."""
    return name.strip().casefold() == other.strip().casefold()
