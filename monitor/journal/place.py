"""Where runs are kept, and what they are called."""

import os
import re
from datetime import datetime
from pathlib import Path

DATABASE = "run.sqlite"


def home() -> Path:
    """
    Return the folder of the shelf and the runs; it need not exist yet.

    ``CHIPSONG_HOME`` if that is set, else where this system keeps a person's data.
    """
    if chosen := os.environ.get("CHIPSONG_HOME"):
        return Path(chosen).expanduser()
    from platformdirs import user_data_path  # noqa: PLC0415 - only when needed

    return user_data_path("chipsong", appauthor=False)


def runs_folder(home: Path) -> Path:
    """Return the folder that holds a folder for each run."""
    return home / "runs"


def make_run_folder(home: Path, title: str, started: datetime) -> Path:
    """
    Make the folder of a new run; its name is readable and no other run has it.

    Parameters
    ----------
    home
        The folder of all runs, see `home`.
    title
        What the run is called: letters and digits of it become part of the name.
    started
        When, by the clock on the wall.

    Raises
    ------
    OSError
        When it cannot be made.
    """
    name = f"{started:%Y-%m-%d-%H%M}-{_slug(title)}"
    runs_folder(home).mkdir(parents=True, exist_ok=True)
    number = 1
    while True:
        folder = runs_folder(home) / (name if number == 1 else f"{name}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            number += 1
        else:
            return folder


def _slug(title: str) -> str:
    """Return a title as it may stand in a folder's name on any system."""
    return "-".join(re.findall(r"[a-z0-9]+", title.casefold()))[:40].strip("-") or "run"
