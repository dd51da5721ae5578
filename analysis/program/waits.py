"""
Waits, whether a program means milliseconds by them, and the wait for the spindle that is written.

NISTIR 6556 means seconds by P of G4, some controls milliseconds, and nothing in a program says which. Hardly
anybody waits for minutes, or lets a bit turn for seconds at the bottom of a hole, which would burn: a P that
would be such a wait tells that the program means milliseconds by all. That is a guess. So what is written is
long enough in either reading, for too short a wait would let a bit into the wood that hardly turns; and the
place does not count on how long such waits last.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves
from analysis.program.points import number

_LONG, _LONG_AT_BOTTOM = 100.0, 5.0
_MILLISECOND = 0.001


def remark(wait: float, *, at_bottom: bool) -> str:
    """Return how a wait is taken that looks like milliseconds, of a hole or not; of others nothing."""
    if not _looks_like_milliseconds(wait, at_bottom):
        return ""
    return (
        f"a wait of P{wait:g} is taken as milliseconds, {_MILLISECOND * wait:g} s, as are all of this "
        "program: on a control that reads seconds (NISTIR 6556) it takes longer than is said"
    )


def lasting(moves: Moves) -> NDArray[np.float64]:
    """Return how long each wait lasts, s, shape (n,); 0 for all other moves."""
    unit = _MILLISECOND if _longest(moves) else 1.0
    written = _written(moves)
    return np.where(moves.kind == Kind.DWELL, moves.seconds * np.where(written, unit, 1.0), 0.0)


def perhaps_longer(moves: Moves, tops: NDArray[np.float64]) -> NDArray[np.float64]:
    """
    Return by how much longer, s, each wait lasts, shape (n,), should the control read seconds all the same.

    With the bit in the work, below `tops`, shape (n,), nobody asks for so much: there it is 0, as it is for
    all other moves, and for all in a program whose waits are taken as seconds.
    """
    return np.where(_written(moves) & (moves.end[:, 2] >= tops), moves.seconds - lasting(moves), 0.0)


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
    changed = (np.diff(moves.speed, prepend=0.0) != 0) | np.diff(moves.spun, prepend=False)
    turned = moves.spun & changed
    own = float(moves.seconds[turned & _written(moves)].max(initial=0.0))
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


def _written(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves are waits of a P that is written, shape (n,); how long a probe takes is not."""
    return np.asarray((moves.kind == Kind.DWELL) & ~moves.probes)


def _longest(moves: Moves) -> float:
    """Return the longest wait that looks like milliseconds, as its P says; 0 where there is none."""
    at_bottom = np.append(False, moves.kind[:-1] == Kind.PECK)[: len(moves)]
    tells = _written(moves) & _looks_like_milliseconds(moves.seconds, at_bottom)
    return float(moves.seconds[tells].max(initial=0.0))


def _looks_like_milliseconds(
    wait: float | NDArray[np.float64], at_bottom: bool | NDArray[np.bool_]
) -> NDArray[np.bool_]:
    return np.asarray(wait >= np.where(at_bottom, _LONG_AT_BOTTOM, _LONG))
