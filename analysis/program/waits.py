"""
The wait for the spindle, also for a control that reads P of G4 as milliseconds.

NISTIR 6556 means seconds, some controls milliseconds, and nothing in a program says which. Waits of minutes
tell that milliseconds may be meant; then too short a wait would let a bit into the wood that hardly turns.
"""

import numpy as np

from analysis.program.moves import Kind, Moves
from analysis.program.points import number
from analysis.program.settings import LONG_WAIT


def spin_up_word(moves: Moves, seconds: float) -> float:
    """
    Return P of the wait for the spindle that is long enough in both readings.

    Parameters
    ----------
    moves
        Of the program that was written for the control.
    seconds
        How long to wait.

    Returns
    -------
    float
        ``seconds``; where the program has waits that look like milliseconds as many of these, or its own
        longest wait after a start of the spindle if that is longer.
    """
    if not _longest(moves):
        return seconds
    turned = (moves.speed > 0) & (np.diff(moves.speed, prepend=0.0) != 0)
    own = float(moves.seconds[turned & (moves.kind == Kind.DWELL)].max(initial=0.0))
    return max(1000.0 * seconds, own)


def waits_in_words(moves: Moves, seconds: float) -> str:
    """Return how waits are meant in what is written."""
    longest = _longest(moves)
    if not longest:
        return "waits, G4 P, are in seconds: a control that reads milliseconds waits too short."
    word = spin_up_word(moves, seconds)
    return (
        f"the program has a wait of P{number(longest, 3)}, as if it meant milliseconds. So the wait for the "
        f"spindle is written as P{number(word, 3)}, {number(word / 1000, 3)} s on a control that reads "
        f"milliseconds. Does yours read seconds, write P{number(seconds, 3)} there instead."
    )


def _longest(moves: Moves) -> float:
    """Return the longest wait that looks like milliseconds, as its P says; 0 where there is none."""
    waits = moves.seconds[moves.kind == Kind.DWELL]
    return float(waits[waits >= LONG_WAIT].max(initial=0.0))
