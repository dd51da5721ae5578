"""Trouble in one line; what does not end what is being done is said on standard error."""

import sys

from monitor.output import printable, write


def one_line(error: BaseException) -> str:
    """Return an error's text as one line, or its kind where it has none."""
    return printable(" ".join(str(error).split())) or type(error).__name__


def warn(text: str) -> None:
    """Say a line of trouble on standard error, or some."""
    lines = "\n".join(map(printable, text.split("\n")))
    write(sys.stderr, f"chipsong: {lines}\n")
