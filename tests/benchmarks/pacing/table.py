"""All that was measured, in words and tables."""

from collections.abc import Sequence
from dataclasses import dataclass

from pacing.growth import Length, Size, exponent


@dataclass(frozen=True)
class Heard:
    """
    What hearing costs, processor time for a second of sound.

    Attributes
    ----------
    name
        What was heard, and how.
    chipsong, bare, cepstra
        Of chipsong, of the bare transform of the same sound, and of its mel cepstra, s.
    """

    name: str
    chipsong: float
    bare: float
    cepstra: float


@dataclass(frozen=True)
class Started:
    """
    How soon something is there, s.

    Attributes
    ----------
    name
        What.
    chipsong
        How long chipsong takes.
    yardstick
        What that is compared with.
    other
        How long that takes.
    """

    name: str
    chipsong: float
    yardstick: str
    other: float


@dataclass(frozen=True)
class Measured:
    """
    All of it.

    Attributes
    ----------
    replays, lives
        Hearing a recording, and live.
    starts
        Starting.
    lengths, sizes
        Growth with length and size, from the least to the greatest.
    compiled
        How long librosa's first call took, which is in none of the figures, s.
    """

    replays: Sequence[Heard]
    lives: Sequence[Heard]
    starts: Sequence[Started]
    lengths: Sequence[Length]
    sizes: Sequence[Size]
    compiled: float


def main_rows(found: Measured) -> list[str]:
    """Return the rows that the README shows."""
    lengths, sizes = found.lengths, found.sizes
    hours, lines = [each.hours for each in lengths], [each.lines for each in sizes]
    return [
        "| | result | times the cost of the bare transform | of librosa's mel cepstra |",
        "|---|---|---|---|",
        *(_heard_row(each, f"{1 / each.chipsong:.0f} times real time") for each in found.replays),
        *(_heard_row(each, f"{each.chipsong:.1%} of one core") for each in found.lives),
        *(_start_row(each) for each in found.starts),
        _plain_row(
            f"memory of a replay of {hours[-1]:.1f} h with its program",
            f"{lengths[-1].begin:.0f} MB after the first tenth, {lengths[-1].end:.0f} MB at the end; "
            f"to plan it {lengths[-1].most:.0f} MB for a moment",
        ),
        _plain_row(
            f"cost of hearing {_from_to(hours, 'h', '.2g')}",
            f"grows with the length to the power {_by_length(found):.2f}",
        ),
        _plain_row(
            f"cost of reading and planning {_from_to(lines, 'lines', ',d')}",
            f"grows with the lines to the power {_by_size(found):.2f}",
        ),
    ]


def _heard_row(heard: Heard, result: str) -> str:
    beside = (heard.chipsong / other for other in (heard.bare, heard.cepstra))
    return f"| {heard.name} | {result} | {' | '.join(f'{times:.1f}' for times in beside)} |"


def _start_row(start: Started) -> str:
    times = start.chipsong / start.other
    return f"| {start.name} | {start.chipsong:.2f} s, {times:.1f} times as long as {start.yardstick} | | |"


def _plain_row(name: str, result: str) -> str:
    return f"| {name} | {result} | | |"


def report(found: Measured, command: str, machine: str) -> str:
    """Return the whole text, as markdown."""
    return "\n".join(
        [
            "# Speed",
            "",
            f"`{command}`",
            "",
            f"Measured on {machine}.",
            "Costs are processor time of one core, the least of several turns; chipsong and what it is",
            "compared with took turns on the same sound, in the same windows. Starts are by the clock.",
            f"The first call of librosa, which compiles and took {found.compiled:.1f} s, is left out.",
            "",
            *main_rows(found),
            "",
            "## Length",
            "",
            "The simulated demo job over and over, its program as often, side by side on a large sheet.",
            "",
            "| sound | lines | read, planned | heard | s an hour | memory, first tenth | end |",
            "|---|---|---|---|---|---|---|",
            *(_length_row(each) for each in found.lengths),
            "",
            f"What it takes to hear grows as the length to the power {_by_length(found):.2f}.",
            "",
            "## Size of the program",
            "",
            "A made-up carving, and a made-up cut heard with it, of which nothing tells where it is: then",
            "much of the program is thought possible, twenty minutes of it at most.",
            "",
            "| lines | read | planned | µs a line | heard | memory |",
            "|---|---|---|---|---|---|",
            *(_size_row(each) for each in found.sizes),
            "",
            f"Reading and planning grow as the lines to the power {_by_size(found):.2f}.",
            "",
        ]
    )


def _by_length(found: Measured) -> float:
    return exponent([each.hours for each in found.lengths], [each.heard for each in found.lengths])


def _by_size(found: Measured) -> float:
    return exponent([each.lines for each in found.sizes], [each.read + each.planned for each in found.sizes])


def _from_to(amounts: Sequence[float], unit: str, form: str) -> str:
    return f"{amounts[0]:{form}} to {amounts[-1]:{form}} {unit}"


def _length_row(each: Length) -> str:
    cells = (
        f"{each.hours * 60:.0f} min",
        f"{each.lines:,}",
        f"{each.prepared:.1f} s",
        f"{each.heard:.1f} s",
        f"{each.heard / each.hours:.0f}",
        f"{each.begin:.0f} MB",
        f"{each.end:.0f} MB",
    )
    return f"| {' | '.join(cells)} |"


def _size_row(each: Size) -> str:
    cells = (
        f"{each.lines:,}",
        f"{each.read:.2f} s",
        f"{each.planned:.2f} s",
        f"{1e6 * (each.read + each.planned) / each.lines:.1f}",
        f"{each.heard:.2f} s",
        f"{each.memory:.0f} MB",
    )
    return f"| {' | '.join(cells)} |"
