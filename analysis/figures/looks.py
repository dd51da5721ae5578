"""
How the pictures look: quiet colours that also differ in lightness, hatches, words, sizes.

Colours are chosen to differ in lightness first, so that they stay apart in grey print and for every kind of
colour vision; hatches and words say the same again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.events import Alarm, Place, ResumeLine, State, Verdict

INK = "#1f2b28"
SOFT = "#66706c"
RULE = "#cfd5d1"
AIR, AIR_PALE = "#9aa39f", "#c6ccc8"
CUT, CUT_PALE = "#17594f", "#84b3a8"
WRONG = "#a02c1c"

Style = Literal["-", "--", ":"] | tuple[float, Sequence[float]]

TITLE, TEXT, SMALL = 15.0, 10.0, 9.0  # pt


@dataclass(frozen=True)
class Look:
    """
    How one state or verdict is drawn.

    Attributes
    ----------
    fill, line
        Colour of the area, and of its hatch, edge and path.
    hatch
        In matplotlib's letters; empty for a plain area.
    meaning
        What the word means, in a few words.
    pale
        Colour of the hatch behind a path.
    width, hollow
        Of the path: how wide, pt, and whether it is drawn as two thin lines. Passes lie over one another, so
        that dashes would fill one another's gaps.
    """

    fill: str
    line: str
    hatch: str
    meaning: str
    pale: str = ""
    width: float = 1.2
    hollow: bool = False


STATES: Mapping[State, Look] = {
    "settle": Look("#f1f0ea", "#b9b6a8", "..", "no steady cut yet"),
    "learn": Look("#cfdcec", "#7d95b3", "//", "learning how this cut sounds"),
    "listen": Look("#a8cdc5", "#a8cdc5", "", "comparing, all as learned"),
    "uneasy": Look("#eeb750", "#7d5a10", "\\\\", "a change is building, or a doubt"),
    "deaf": Look("#ffffff", "#3c4441", "---", "nothing usable is heard"),
    "alarm": Look("#a02c1c", "#f0c3b8", "xx", "the change is certain"),
}
"""From the least to the most urgent: where two fall together, the later one is drawn."""

VERDICTS: Mapping[Verdict, Look] = {
    "good": Look("#dcebe6", "#17594f", "", "heard all the way, no change", "#dcebe6"),
    "suspect": Look("#f3cfc5", "#a02c1c", "xx", "the sound had changed, or bit in doubt", "#dda395", 2.0),
    "unheard": Look(
        "#ffffff", "#555e5a", "..", "not heard all the way, so nothing is known", "#a8afac", 2.4, hollow=True
    ),
}


@dataclass(frozen=True)
class BitLook:
    """
    How the cuts of one bit are drawn.

    Attributes
    ----------
    line
        Colour.
    style, width
        Of the way, the width in pt.
    marker
        In matplotlib's letters, where it goes straight down.
    """

    line: str
    style: Style
    width: float
    marker: str


BITS: Sequence[BitLook] = (
    BitLook("#1f2b28", "-", 1.1, "o"),
    BitLook("#1f6fa8", (0, (5, 1.5)), 1.6, "s"),
    BitLook("#c2551b", (0, (1.2, 1.2)), 1.8, "^"),
    BitLook("#6b4c9a", (0, (7, 1.5, 1.2, 1.5)), 1.6, "D"),
    BitLook("#8a6d00", (0, (3, 1.2, 1.2, 1.2, 1.2, 1.2)), 1.6, "P"),
    BitLook("#7f8c87", "-", 2.6, "X"),
    BitLook("#2f7d5b", (0, (9, 2)), 2.2, "v"),
    BitLook("#b0447a", (0, (1.2, 2.4)), 2.2, "*"),
)
"""In the order of use; a ninth bit looks like the first, and its name tells them apart."""


def swatch(word: str, look: Look) -> Patch:
    """Return the entry of a key for a state or verdict."""
    label = f"{word}: {look.meaning}"
    return Patch(facecolor=look.fill, edgecolor=look.line, hatch=look.hatch, linewidth=0.8, label=label)


def stroke(label: str, colour: str, width: float, style: Style = "-") -> Line2D:
    """Return the entry of a key for a line, ``width`` in pt."""
    return Line2D([], [], color=colour, linewidth=width, linestyle=style, label=label)


def point(label: str, colour: str, shape: str, size: float) -> Line2D:
    """Return the entry of a key for a marker, ``size`` in pt."""
    return Line2D([], [], color=colour, linestyle="", marker=shape, markersize=size, label=label)


def key(figure: Figure, handles: Sequence[Artist], *, columns: int, low: float) -> None:
    """
    Write a part of the key at the figure's left, its foot ``low`` in above the figure's.

    As in a `heading`, a dollar sign begins no formula.
    """
    width, height = figure.get_size_inches()
    written = figure.legend(
        handles=handles,
        ncols=columns,
        loc="lower left",
        bbox_to_anchor=(0.25 / width, low / height),
        frameon=False,
        fontsize=SMALL,
        labelcolor=INK,
        handlelength=2.4,
        handleheight=1.1,
        columnspacing=1.8,
        borderpad=0,
    )
    for text in written.get_texts():
        text.set_parse_math(False)


def quiet(axes: Axes) -> None:
    """Take from the axes what nobody reads."""
    axes.patch.set_alpha(0.0)
    axes.tick_params(labelsize=SMALL, colors=INK, length=3, width=0.6)
    for spine in axes.spines.values():
        spine.set_color(RULE)
        spine.set_linewidth(0.8)


def heading(figure: Figure, left: float, title: str, lines: tuple[str, ...]) -> None:
    """
    Write a title and lines below it, from ``left``, in, at the top of the figure.

    Names of files and bits stand in them, in which a dollar sign begins no formula.
    """
    height = float(figure.get_figheight())
    x = left / float(figure.get_figwidth())
    figure.text(x, 1 - 0.2 / height, title, size=TITLE, weight="bold", color=INK, va="top", parse_math=False)
    for number, line in enumerate(lines):
        y = 1 - (HEADING + LINE * number) / height
        figure.text(x, y, line, size=TEXT, color=INK, va="top", parse_math=False)


HEADING, LINE = 0.58, 0.22
"""in; what a title takes, and each line under it."""


def width_of(text: str, size: float) -> float:
    """Return about how wide, in, the longest line of a text in ``size`` pt is; rather too much than less."""
    return max(len(line) for line in text.split("\n")) * 0.62 * size / 72


def line_words(line: Place | ResumeLine) -> str:
    """Return a file line with its N-word, as both are always given."""
    word = "no N-word" if line.word is None else f"N{line.word}"
    return f"line {line.file} ({word})"


def place_words(alarm: Alarm) -> tuple[str, ...]:
    """Return where it began, how sure that is, and where to resume."""
    if alarm.line is None:
        return ("place unknown",)
    doubt = f", within {alarm.line.first} to {alarm.line.last}"
    began = line_words(alarm.line) + doubt * (alarm.line.first < alarm.line.last)
    return (began, f"resume at {line_words(alarm.resume)}") if alarm.resume else (began,)


def cause_words(alarm: Alarm) -> str:
    """Return the likeliest cause and how sure it is."""
    return f"{alarm.cause} ({100 * alarm.confidence:.0f} % sure)"
