"""What became of each move: passed over, heard being cut, suspect; and the verdict on each part."""

import numpy as np
from numpy.typing import NDArray

from analysis.events import PartVerdict, Verdict
from analysis.locate import Plan
from analysis.program import Part

SEEN, HEARD, SUSPECT = 1, 2, 4
# Suspect by a doubt alone that may still be said to be nothing.
DOUBTED = 8
# The share of a part's cutting that must have been heard for it to be good.
_ENOUGH = 0.9

Marks = NDArray[np.uint8]


def unmarked(plan: Plan) -> Marks:
    """Return the marks of moves of which nothing is known, shape (n,)."""
    return np.zeros(len(plan.program.moves), dtype=np.uint8)


def acquitted(marks: Marks, before: Marks) -> Marks:
    """Return ``marks`` with what was suspect ``before`` and nothing else so."""
    return (marks & ~np.uint8(SUSPECT)) | (before & np.uint8(SUSPECT))


def dispelled(marks: Marks, moves: NDArray[np.bool_]) -> Marks:
    """Return ``marks`` where what a doubt alone made suspect of ``moves``, shape (n,), is not."""
    return np.where(moves, marks & ~np.uint8(DOUBTED), marks)


def confirmed(marks: Marks, moves: NDArray[np.bool_]) -> Marks:
    """Return ``marks`` where what a doubt made suspect of ``moves``, shape (n,), stays so."""
    stays = moves & ((marks & DOUBTED) > 0)
    return np.where(stays, (marks & ~np.uint8(DOUBTED)) | np.uint8(SUSPECT), marks)


def lines_seen(plan: Plan, marks: Marks) -> int:
    """Return how many different lines were passed over while something was heard."""
    return len(np.unique(plan.program.moves.file_line[(marks & SEEN) > 0]))


def verdicts(
    plan: Plan, marks: Marks, learned: frozenset[int], *, astray: bool = False
) -> tuple[PartVerdict, ...]:
    """
    Return each part's verdict.

    Parameters
    ----------
    plan, marks
        What is cut, and what became of each move.
    learned
        The bits that have a baseline.
    astray
        Whether there was an alarm at an unknown place: any part may have been cut then that was not heard.
    """
    known = np.isin(plan.program.moves.bit, list(learned))
    found = [
        (part, _verdict(plan, part, marks, known, whole=not more))
        for part, more in zip(plan.parts, plan.may_hold_more, strict=True)
    ]
    return tuple(
        PartVerdict(
            part.name,
            part.first_line,
            part.last_line,
            "suspect" if astray and verdict == "unheard" else verdict,
        )
        for part, verdict in found
    )


def _verdict(plan: Plan, part: Part, marks: Marks, known: NDArray[np.bool_], *, whole: bool) -> Verdict:
    # A pass that should take nothing away any more has spoiled it as well, once the bit has slipped down.
    if (marks[part.cut_by] & (SUSPECT | DOUBTED)).any():
        return "suspect"
    cut = part.cut_by[plan.cuts[part.cut_by]]
    # By what was taken away, not by time: a light finishing pass is hardly told from air.
    taken = plan.met.volume[cut]
    heard = float(taken[((marks[cut] & HEARD) > 0) & known[cut]].sum())
    # Where next to nothing is taken away nothing can have been heard.
    is_heard = heard >= _ENOUGH * float(taken.sum()) > 0.0
    return "good" if is_heard and whole else "unheard"
