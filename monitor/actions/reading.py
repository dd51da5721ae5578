"""
The actions that the user wants, in a file that a person reads and writes.

::

    # actions.toml
    [[action]]
    name = "horn"
    kind = "tone"            # or bell, command, serial, http, push, mqtt
    on = ["alarm", "deaf"]   # or doubt, heard; when nothing is said see README.md
    limit = 10               # s that one try may take
    tries = 3
    seconds = 4              # this and what else there is depends on the kind
"""

from collections.abc import Iterable
from pathlib import Path

from analysis.errors import ShelfError
from monitor.actions.kind import Action
from monitor.tables import read_tables

ACTIONS = "actions.toml"
"""The name of the file, in the folder of the shelf."""


def read_actions(path: Path) -> tuple[Action, ...]:
    """
    Read the actions; where there is no file there are none.

    Raises
    ------
    ShelfError
        When something in the file is wrong: the text names the file, the action, the key, the value, and
        what is allowed.
    """
    tables = read_tables(path)
    if not tables:
        return ()
    from monitor.actions.table import actions_of  # noqa: PLC0415 - pydantic is slow to load

    try:
        actions = actions_of(tables)
        _check_unique(action.name for action in actions)
    except ValueError as error:
        raise ShelfError(f"{path}: {error}") from error
    return actions


def _check_unique(names: Iterable[str]) -> None:
    known: set[str] = set()
    for name in names:
        if name.casefold() in known:
            raise ValueError(f"two actions have the name '{name}': give one of them another")
        known.add(name.casefold())
