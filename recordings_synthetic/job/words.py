"""How the programs are written: RS274/NGC, some lines with N-words and some without."""

from collections.abc import Iterator

from analysis.cutting import Bit

SAFE = 6.0  # mm above the work for moves across
NEAR = 1.5  # mm above the work, from where the bit goes down at feed


def text(lines: list[str]) -> str:
    """Return lines as a program's text."""
    return "\n".join(_numbered(lines)) + "\n"


def _numbered(lines: list[str]) -> Iterator[str]:
    """Give an N-word to the lines that start a path, as some writers of programs do."""
    word = 100
    for line in lines:
        if line.startswith(("G0 X", "G99", "G1 Z")):
            yield f"N{word} {line}"
            word += 10
        else:
            yield line


def head(title: str) -> list[str]:
    """Begin a program."""
    return [
        "%",
        f"({title})",
        "(invented demo job; mm, Z0 on top of the sheet)",
        "G21 G90 G17 G94",
        "G40 G49 G80 G54",
        f"G0 Z{short(SAFE)}",
    ]


def tail() -> list[str]:
    """End a program."""
    return [*up(), "M5", "G0 X0 Y0", "M30", "%"]


def change(number: int, bit: Bit, *, wait: float = 3.0) -> list[str]:
    """Put a bit in and spin it up."""
    speed = bit.speed or 0.0
    return [
        "",
        f"({bit.name}, {bit.flutes} flutes)",
        "M5",
        f"T{number} M6",
        f"S{short(speed)} M3",
        f"G4 P{short(wait)}",
        f"G0 Z{short(SAFE)}",
    ]


def over(x: float, y: float) -> list[str]:
    """Go across at a safe height, then down to just above the sheet."""
    return [f"G0 X{short(x)} Y{short(y)}", f"G0 Z{short(NEAR)}"]


def up() -> list[str]:
    """Go up to a safe height."""
    return [f"G0 Z{short(SAFE)}"]


def short(value: float) -> str:
    """Write a number the short way: at most three decimals, no trailing zeros, no minus zero."""
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")
