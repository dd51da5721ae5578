"""
Every error that a person at the machine may see.

::

    ChipsongError      the root; its text is one line and says what to do
    ├── SoundError     a recording or a microphone that cannot be heard
    ├── ProgramError   a program that cannot be read: file line, column, word
    ├── ShelfError     a bit or a setting that is wrong: file, key, value
    └── JournalError   a run that cannot be opened or written
"""


class ChipsongError(Exception):
    """The root of all errors of this project."""


class SoundError(ChipsongError):
    """A recording or a microphone that cannot be heard."""


class ProgramError(ChipsongError):
    """
    A program that cannot be read.

    Parameters
    ----------
    message
        What is wrong and what to do, in one line.
    line, column
        Where, counted from 1; 0 when the whole file is meant.
    word
        The offending word, as written.
    """

    def __init__(self, message: str, *, line: int = 0, column: int = 0, word: str = "") -> None:
        where = f"line {line}, column {column}: " if line else ""
        super().__init__(f"{where}{message}")
        self.line = line
        self.column = column
        self.word = word


class ShelfError(ChipsongError):
    """A bit or a setting that is wrong: which file, which key, which value."""


class JournalError(ChipsongError):
    """A run that cannot be opened or written."""
