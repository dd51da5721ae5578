"""How fast a machine is beside what was assumed of it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Learned:
    """
    What was learned of a machine, to be given to the next run.

    Attributes
    ----------
    feeds
        How fast it feeds, as a share of what the program asks for.
    rapids
        How fast it is where it, not the feed, sets the pace, as a share of what was assumed.
    turns
        How fast its spindle turns, as a share of what was set; ``None`` where nobody knows.
    """

    feeds: float = 1.0
    rapids: float = 1.0
    turns: float | None = None


UNKNOWN = Learned()

LEAST, MOST = 0.5, 2.0
"""Paces beyond which no machine was learned but the place was lost."""
