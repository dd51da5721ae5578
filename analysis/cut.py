"""What goes with a row of sound: when it was heard, and what was being cut."""

import math
from dataclasses import dataclass

from analysis.baseline import Sample
from analysis.features import Array32
from analysis.presence import Phase

FAMILIES = ("down", "across")
"""Cuts that are compared with one another: straight down, and all others."""

MIXED = "mixed"
"""The kind of a baseline of both families together, where cuts are so short that few are surely of one."""

LOST = "any"
"""The kind of a cut at an unknown place of a program."""


@dataclass(frozen=True)
class Context:
    """
    What is being cut, as far as the program tells.

    Attributes
    ----------
    bit
        The bit in the spindle.
    kind
        The kind of cut: rows are compared with rows of the same kind. ``LOST`` where there is a program and
        nobody knows the place in it.
    cuts
        Whether it is possible that anything is being cut.
    told
        Whether the kind comes from a program; without one every cut looks alike.
    apart
        Whether cut and air were both heard, so that the one can be told from the other.
    silence
        The longest time for which nothing is cut hereabouts, by the program, s; without end where that may
        be a wait, or no controller tells the place.
    stops
        Whether the place is known and the program may stop the spindle hereabouts.
    guessed
        Whether it may as well be another bit: nobody knows the place in a program of several.
    asked
        The lowest and the highest speed, rpm, that the program asks for where it may be; ``None`` where it
        asks for none.
    either
        Speeds, rpm, of which nobody knows which one the bit is to turn at: then nothing can be compared, for
        one that turns at half the speed sounds as a loose one does. Empty where it is known.
    """

    bit: int = 0
    kind: str = "cut"
    cuts: bool = True
    told: bool = False
    apart: bool = True
    silence: float = math.inf
    stops: bool = False
    guessed: bool = False
    asked: tuple[float, float] | None = None
    either: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Besides:
    """
    What else is heard, beside what a baseline is learned of.

    Attributes
    ----------
    sounds
        What the spindle does by the sound alone, whatever the program says.
    hears
        Whether comb or teeth of the spindle were heard of late, so that it is a bit that is heard.
    comb
        How far the spindle's comb stands out, dB.
    beats, tone
        How far a tone off the orders that comes back a tooth-pass away stands out, dB, and its frequency, Hz.
    peak
        Greatest absolute sample.
    steps
        Squared depths of the hiss's swell at orders 0.5 and 1.5: in step with the spindle, and all of it,
        shape (2, 2); ``None`` where it was not looked at.
    """

    sounds: Phase = Phase.CUT
    hears: bool = True
    comb: float = 0.0
    beats: float = 0.0
    tone: float = 0.0
    peak: float = 0.0
    steps: Array32 | None = None


@dataclass(frozen=True, eq=False)
class Moment:
    """
    One row and what goes with it.

    Attributes
    ----------
    at
        When the row was complete, s from the first sample.
    middle
        The middle of its window, s from the first sample.
    sample
        What was heard.
    phase
        What the spindle is doing.
    context
        What is being cut.
    besides
        What else is heard.
    """

    at: float
    middle: float
    sample: Sample
    phase: Phase
    context: Context
    besides: Besides = Besides()
