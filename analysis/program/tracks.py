"""What is in force at each move, and how far its place can be relied on."""

from bisect import bisect_right
from dataclasses import dataclass

from analysis.program.following import Following
from analysis.program.program import Program
from analysis.program.state import Modes, State


@dataclass(frozen=True)
class Tracks:
    """
    A program's run, move by move.

    Attributes
    ----------
    begins, modes
        From which move on which modes are in force.
    unsure
        For moves whose start or end is not known, why.
    end
        What is in force at the end, with all that the program has stated.
    zero_moved
        How many moves there were when G10 last moved an origin.
    zero_lost
        From which move on the program's zero lies at a place that is not in the program.
    unread
        M words that are not known, with how many moves there were before each.
    """

    begins: list[int]
    modes: list[Modes]
    unsure: dict[int, str]
    end: State
    zero_moved: int
    zero_lost: int
    unread: list[tuple[int, str]]

    def at(self, move: int) -> Modes:
        """Return the modes in force at a move."""
        return self.modes[bisect_right(self.begins, move) - 1]


def tracks(program: Program) -> Tracks:
    """
    Follow a program from its beginning to its end.

    Plain lines are taken together: what they change, motion word and feed, is told by the moves themselves.
    """
    follow = Following(program)
    notebook = _Notebook(follow, len(program.moves))
    for _ in follow.steps(range(0)):
        notebook.look()
    notebook.look()
    return notebook.tracks()


class _Notebook:
    """Takes in, line after line, what the line before has done."""

    def __init__(self, follow: Following, most: int) -> None:
        self._follow = follow
        self._rows, self._doubt, self._origins = 0, "", 0
        self._begins, self._modes = [0], [follow.run.modes]
        self._unsure: dict[int, str] = {}
        self._unread: list[tuple[int, str]] = []
        self._zero_moved, self._zero_lost = 0, most

    def look(self) -> None:
        run, carriage = self._follow.run, self._follow.run.carriage
        rows, doubt = len(carriage.rows), next(filter(None, carriage.doubt), "")
        if rows > self._rows:
            if run.modes is not self._modes[-1]:
                self._begins.append(self._rows)
                self._modes.append(run.modes)
            # Where only the start of the first one is not known the others are as they should be.
            for i in range(self._rows, rows if doubt else self._rows + bool(self._doubt)):
                self._unsure[i] = doubt or self._doubt
        if len(carriage.origins) > self._origins:
            self._zero_moved, self._origins = rows, len(carriage.origins)
        if carriage.offset_doubt:
            self._zero_lost = min(self._zero_lost, self._rows)
        self._unread += [(rows, text) for text in self._follow.unread[len(self._unread) :]]
        self._rows, self._doubt = rows, doubt

    def tracks(self) -> Tracks:
        return Tracks(
            self._begins,
            self._modes,
            self._unsure,
            self._follow.run.state(),
            self._zero_moved,
            self._zero_lost,
            self._unread,
        )
