"""
The shelf: all bits that are known, in a file that a person reads and writes.

::

    # bits.toml
    [[bit]]
    name = "6 mm up-cut"
    diameter = "6mm"         # or "0.25in", "1/4in"; a bare number is mm
    flutes = 2
    kind = "up-cut"          # or down-cut, compression, straight, ball, v
    speed = 18000            # rpm, optional
    tool = 1                 # its T number, optional
"""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

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
        ``"6.35mm"``, ``"0.25in"``, ``"1/4in"`` or, in mm, ``"6.35"``.

    Raises
    ------
    ValueError
        When it is not a length, or not more than nothing.

    Examples
    --------
    >>> parse_length("1/4in")
    6.35
    """
    found = _LENGTH.fullmatch(text)
    if found is None or found["number"].endswith("/0"):
        raise ValueError(f"'{text}' is not a length: write it as 6.35mm or 0.25in")
    length = float(Fraction(found["number"])) * (1.0 if found["unit"].lower() in {"", "mm"} else MM_PER_INCH)
    if not 0 < length < math.inf:
        raise ValueError(f"'{text}' must be more than nothing: write it as 6.35mm or 0.25in")
    return length


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
    """

    bit: Bit
    kind: str
    tool: int | None = None


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
        """
        Return the bit of this name; case does not matter.

        Raises
        ------
        ShelfError
            When there is none; the text lists those that there are.
        """
        for entry in self.entries:
            if _same(entry.bit.name, name):
                return entry.bit
        if not self.entries:
            raise ShelfError(
                f"there is no bit '{name}', the shelf {self.path} is empty: write the bit into it"
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
    from monitor.bits_table import entries_of  # noqa: PLC0415 - pydantic is slow to load

    try:
        entries = entries_of(tables)
        _check_unique(entries)
    except ValueError as error:
        raise ShelfError(f"{path}: {error}") from error
    return Shelf(path, entries)


def _check_unique(entries: tuple[Entry, ...]) -> None:
    for number, entry in enumerate(entries):
        for other in entries[:number]:
            if _same(other.bit.name, entry.bit.name):
                raise ValueError(f"two bits have the name '{entry.bit.name}': give one of them another")
            if entry.tool is not None and entry.tool == other.tool:
                raise ValueError(
                    f"'{other.bit.name}' and '{entry.bit.name}' both have tool = {entry.tool}: change one"
                )


def _same(name: str, other: str) -> bool:
    return name.strip().casefold() == other.strip().casefold()
