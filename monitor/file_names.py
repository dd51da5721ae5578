"""Names of files as text: on disk they are bytes, and some are older than UTF-8."""

import os
from pathlib import Path


def readable(name: str | Path) -> str:
    """Return a file's name as text that can be written anywhere; what in it is none is replaced."""
    return os.fsencode(name).decode("utf-8", "replace")
