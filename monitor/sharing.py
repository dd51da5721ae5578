"""What a page needs to be told: who may see it, and which job it is about."""

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.cutting import Bit
from analysis.program import Program
from monitor.journal import Journal


@dataclass(frozen=True)
class Sharing:
    """
    Who may see the page.

    Attributes
    ----------
    share
        Whether others on the same network may, who know the token in its address.
    port
        Where it listens; 0 for any that is free.
    """

    share: bool = False
    port: int = 0


@dataclass(frozen=True, eq=False)
class Job:
    """
    What is being cut.

    Attributes
    ----------
    bits
        The bit behind each T number, and behind 0 the one for all others.
    program
        The program, ``None`` if there is none.
    journal
        What keeps the run, ``None`` if nothing does.
    """

    bits: Mapping[int, Bit]
    program: Program | None
    journal: Journal | None
