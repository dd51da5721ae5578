"""Which bit is selected, which is in the spindle, and the comment that tells what it is."""

import re

from analysis.program.state import Modes
from analysis.program.words import Block, Word

# "T3 = 60 deg V", "TOOL 3: 60 deg V"; but no "tool 6 mm" or "tool 1/4".
_NAMES = re.compile(
    r"""\s*t(?:ool)?[\s#]*0*(\d+)(?![\w./"])(?!\s*(?:mm|in|inch|deg)\b)[\s=:,-]*""", re.IGNORECASE
)


class Bits:
    """
    The bits of a program.

    Parameters
    ----------
    chosen_ahead
        Which T word, counted from 1, is known to say no more than what the first M6 will put in; 0 for none.

    Attributes
    ----------
    names
        Per T number, the comment that stands by it, or "".
    chosen_ahead
        The same, found out where the program moves between that word and the M6.
    begin, before
        How many moves there were before that T word, and the T number taken to be in the spindle then.
    """

    def __init__(self, chosen_ahead: int = 0) -> None:
        self.names: dict[int, str] = {}
        self.chosen_ahead = chosen_ahead
        self.begin = self.before = 0
        self._said = 0
        self._comment = ""
        self._waiting: int | None = None
        self._beside: set[int] = set()

    def hear(self, block: Block) -> None:
        """
        Keep a comment for the bit that it names, or that it stands beside: on its line, just before or after.

        On a line with other words than T, M5 and M6 it is of these, and what stood before is of others.
        """
        others = block.g or block.words.keys() - {"T"} or any(word.value not in (5, 6) for word in block.m)
        if others:
            self._comment = ""
        if not block.comments:
            return
        number, text = _named(_text(block))
        if number is not None:
            self.names[number] = self.names.get(number) or text
            return
        if self._waiting is not None and not (others or block.words or block.m):
            self.names[self._waiting] = self.names[self._waiting] or text
        if not others:
            self._comment = text or self._comment

    def forget(self) -> None:
        """Let go of comments: the bit has moved since, so they belong to something else."""
        self._comment, self._waiting = "", None

    def select(self, word: Word, block: Block, modes: Modes, moves: int) -> Modes:
        """T: choose the bit that M6 puts in; before the first M6 it is taken for the one that cuts."""
        if word.value < 0 or word.value != int(word.value):
            raise block.error(f"{word.text}: a bit's number is a whole number from 0 up", word)
        bit = int(word.value)
        self._said += 1
        if modes.bit_changed:
            return modes._replace(selected=bit)
        self._name(bit, block)
        self.begin, self.before = moves, modes.at_hand
        return modes._replace(selected=bit, at_hand=modes.at_hand if self._said == self.chosen_ahead else bit)

    def change(self, block: Block, modes: Modes, moves: int) -> Modes:
        """M6: put the selected bit in; the spindle stands still (NISTIR 6556, 3.6.3)."""
        self._name(modes.selected, block)
        if self._said and not modes.bit_changed and self.begin < moves:
            self.chosen_ahead = self._said
        return modes._replace(
            bit=modes.selected,
            bit_changed=True,
            bit_named=self._said > 0,
            spindle=5,
            length_since_change=False,
        )

    def _name(self, bit: int, block: Block) -> None:
        number, own = _named(_text(block))
        if own and number in (None, bit) and bit not in self._beside:
            self._beside.add(bit)
            self.names[bit] = own
        self.names[bit] = self.names.get(bit) or self._comment
        self._comment, self._waiting = "", bit


def _named(comment: str) -> tuple[int | None, str]:
    """Return the number of the bit that a comment names, if any, and what it says."""
    found = _NAMES.match(comment)
    return (int(found[1]), comment[found.end() :]) if found else (None, comment)


def _text(block: Block) -> str:
    return " ".join(text for text in block.comments if text)
