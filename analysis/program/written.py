"""
What is written for a machine: in the letters and with the line ends of the file that it has run already.

In another encoding a letter of a comment becomes other bytes, and some small controls obey some bytes (0x84,
say) wherever they stand. So lines of the original are its bytes, and what is new is ASCII.
"""

import codecs
from collections.abc import Iterator, Sequence

from analysis.program.program import LINE_END, Program

_UTF_16 = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}


def with_lines_of(program: Program, opening: int, new: Sequence[str], begin: int) -> bytes:
    """
    Return a file: some first lines of a program, new ones, and the program again from a line on.

    Parameters
    ----------
    program
        The original; as a file, where `Program.raw` has it.
    opening
        How many of its first lines come first.
    new
        Lines in ASCII, without line ends.
    begin
        How many of its lines stand before those that follow the new ones.
    """
    mark, letters, text = _taken_apart(program)
    lines = list(_with_their_ends(text))
    end = _end_of(lines)
    whole = "".join((*lines[:opening], *(f"{line}{end}" for line in new), *lines[begin:]))
    return mark + whole.encode(letters, "replace")


def anew(program: Program, text: str) -> bytes:
    """Return a text in ASCII, with newlines, as a file of its own for the machine that runs this program."""
    mark, letters, original = _taken_apart(program)
    return mark + text.replace("\n", _end_of(_with_their_ends(original))).encode(letters, "replace")


def _taken_apart(program: Program) -> tuple[bytes, str, str]:
    """Return the mark with which the file begins, in what its bytes become signs and come back, and those."""
    raw = program.raw or "".join(f"{line}\n" for line in program.lines).encode("utf-8")
    for mark, letters in _UTF_16.items():
        if raw.startswith(mark):
            return mark, letters, raw[len(mark) :].decode(letters, "replace")
    # Byte by byte, whatever they mean. A mark of UTF-8 is left out: it would come to stand within the file.
    return b"", "latin-1", raw.removeprefix(codecs.BOM_UTF8).decode("latin-1")


def _with_their_ends(text: str) -> Iterator[str]:
    begin = 0
    for found in LINE_END.finditer(text):
        yield text[begin : found.end()]
        begin = found.end()
    if begin < len(text):
        yield text[begin:]


def _end_of(lines: Iterator[str] | Sequence[str]) -> str:
    """Return how the first line ends."""
    found = LINE_END.search(next(iter(lines), ""))
    return found[0] if found else "\n"
