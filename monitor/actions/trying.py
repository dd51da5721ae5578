"""``chipsong actions``: what is set up, and whether it works."""

import queue
import sys
from collections.abc import Iterator, Sequence

from analysis.errors import ShelfError
from monitor.actions.crew import Crew
from monitor.actions.kind import Action, Done
from monitor.actions.message import NAMES, rehearsal
from monitor.actions.reading import ACTIONS, read_actions
from monitor.actions.telling import cautions, done_text, list_text
from monitor.journal import home
from monitor.status import Status

# s that workers get to clear up when all is told.
_TO_END = 2.0


def show_actions() -> None:
    """Write what is set up to standard output."""
    path = home() / ACTIONS
    sys.stdout.write(list_text(path, read_actions(path)) + "\n")


def try_actions(name: str | None) -> Status:
    """
    Fire all actions, or one, with an event that says it is a test; write what became of each as it comes.

    Raises
    ------
    ShelfError
        When there are none, or none of this name.
    """
    actions = _chosen(name)
    for caution in cautions(actions):
        sys.stderr.write(f"! {caution}\n")
    failed = 0
    for done in _fired(actions):
        sys.stdout.write(done_text(done) + "\n")
        sys.stdout.flush()
        failed += not done.ok
    return Status.FAILED if failed else Status.FINE


def _chosen(name: str | None) -> tuple[Action, ...]:
    path = home() / ACTIONS
    actions = read_actions(path)
    if not actions:
        raise ShelfError(f"no actions are set up: write them into {path}, as README.md shows")
    chosen = tuple(action for action in actions if name is None or action.name.casefold() == name.casefold())
    if not chosen:
        known = ", ".join(f"'{action.name}'" for action in actions)
        raise ShelfError(f"there is no action '{name}' in {path}: it has {known}")
    return chosen


def _fired(actions: Sequence[Action]) -> Iterator[Done]:
    """Fire them; give what became of each as soon as it is known, for each comes to an end by its limit."""
    told: queue.SimpleQueue[Done] = queue.SimpleQueue()
    crew = Crew(actions, told.put)
    for action in actions:
        event = next(which for which in NAMES if which in action.on)
        crew.send(rehearsal(event), only=action.name)
    for _ in actions:
        yield told.get()
    crew.finish(_TO_END)
