"""Processes of this project's own: they are to import the very packages that this one runs."""

import os
from pathlib import Path


def module_path() -> str:
    """Return where such a process looks for modules (PYTHONPATH): in this project first."""
    own = str(Path(__file__).parents[1])
    return os.pathsep.join(filter(None, (own, os.environ.get("PYTHONPATH"))))
