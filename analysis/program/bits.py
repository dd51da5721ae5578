"""Which bit is selected, which is in the spindle, and the comment that tells what it is."""

from analysis.program.state import Modes
from analysis.program.words import Block, Word


class Bits:
    """
    The bits of a program.

    Attributes
    ----------
    names
        Per T number, the comment that stands by it, or "".
    selections
        Where T stands: the number of moves before it, and the T number.
    """

    def __init__(self) -> None:
        self.names: dict[int, str] = {}
        self.selections: list[tuple[int, int]] = []
        self._comment = ""
        self._waiting: int | None = None

    def hear(self, block: Block) -> None:
        """Keep a comment for the bit that it stands beside: on its line, just before, or just after."""
        text = _text(block)
        if self._waiting is not None and text:
            self.names[self._waiting] = self.names[self._waiting] or text
        if "O" not in block.words:
            self._comment = text or self._comment

    def forget(self) -> None:
        """Let go of comments: the bit has moved since, so they belong to something else."""
        self._comment, self._waiting = "", None

    def select(self, word: Word, block: Block, modes: Modes, moves: int) -> Modes:
        """T: choose the bit that M6 puts in; in a program without M6 it is the one that cuts."""
        if word.value < 0 or word.value != int(word.value):
            raise block.error(f"{word.text}: a bit's number is a whole number from 0 up", word)
        bit = int(word.value)
        self.selections.append((moves, bit))
        if not modes.bit_changed:
            self._name(bit, block)
        return modes._replace(selected=bit)

    def change(self, block: Block, modes: Modes) -> Modes:
        """M6: put the selected bit in; the spindle stands still (NISTIR 6556, 3.6.3)."""
        self._name(modes.selected, block)
        return modes._replace(
            bit=modes.selected,
            bit_changed=True,
            bit_named=bool(self.selections),
            spindle=5,
            length_since_change=False,
        )

    def _name(self, bit: int, block: Block) -> None:
        self.names[bit] = self.names.get(bit) or _text(block) or self._comment
        self._comment, self._waiting = "", bit


def _text(block: Block) -> str:
    return " ".join(text for text in block.comments if text)
