"""What goes with a row of sound: when it was heard, and what was being cut."""

from dataclasses import dataclass

from analysis.baseline import Sample
from analysis.presence import Phase

FAMILIES = ("down", "across")
"""Cuts that are compared with one another: straight down, and all others."""

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
    """

    bit: int = 0
    kind: str = "cut"
    cuts: bool = True
    told: bool = False
    apart: bool = True


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
    """

    at: float
    middle: float
    sample: Sample
    phase: Phase
    context: Context
