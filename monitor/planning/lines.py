"""Lines of plain text: fields with a hanging indent, and columns."""

import re
import shutil
import sys
import textwrap
from collections.abc import Sequence

WIDTH = 96

# A terminal that is narrower breaks lines by itself; a field would have hardly a word in each.
_NARROWEST = 40

_TOGETHER = re.compile(r"(\bline|\d) (\d|\S)")


def field(name: str, said: str, *, indent: int = 4, width: int = 12) -> list[str]:
    """Return a name and what is said of it, wrapped under itself."""
    first = " " * indent + f"{name:{width}}"
    # A number stays with its unit, and a line with its number.
    together = _TOGETHER.sub("\\1\xa0\\2", said)
    wrapped = textwrap.wrap(together, _room(), initial_indent=first, subsequent_indent=" " * len(first))
    return [line.replace("\xa0", " ") for line in wrapped]


def sentence(said: str) -> list[str]:
    """Return a sentence, wrapped."""
    return field("", said, indent=0, width=0)


def _room() -> int:
    """Return how long a line may be: as wide as the terminal, where there is one."""
    terminal = shutil.get_terminal_size().columns if sys.stdout.isatty() else WIDTH
    return max(min(WIDTH, terminal), _NARROWEST)


def columns(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Return rows as aligned columns; those whose numbers are given stand at the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  "
        + "   ".join(
            word.rjust(width) if at in right else word.ljust(width)
            for at, (word, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
