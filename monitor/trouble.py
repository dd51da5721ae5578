"""Trouble that does not end what is being done is said on standard error."""

import sys


def warn(text: str) -> None:
    """Say a line of trouble on standard error."""
    sys.stderr.write(f"chipsong: {text}\n")
    sys.stderr.flush()
