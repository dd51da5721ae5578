"""What is said of actions, to people and in the journal."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from monitor.actions.kind import Action, ActionError, Done
from monitor.actions.message import NAMES
from monitor.output import printable

ACTION = "action"
"""The name of the journal's event that says what became of an action."""


def cautions(actions: Iterable[Action]) -> tuple[str, ...]:
    """Return what to say before actions that may act on the machine; nothing when there are none."""
    names = ", ".join(f"'{action.name}'" for action in actions if action.does.acts)
    if not names:
        return ()
    return (
        f"{names} may act on the machine, as you set it up. A feed hold does not stop the spindle.",
        "chipsong is no safety device: it can miss a fault, or not get through. Stay at the machine.",
    )


def lacks(action: Action) -> str:
    """Return why an action cannot come about on this computer, in words; nothing when it can."""
    try:
        action.does.prepare()
    except ActionError as error:
        return str(error)
    else:
        action.does.close()
        return ""


def at_the_start(actions: Iterable[Action]) -> tuple[str, ...]:
    """Return what to say before listening: what to be careful about, and which actions cannot come about."""
    actions = tuple(actions)
    missing = ((action.name, lacks(action)) for action in actions)
    return (*cautions(actions), *(f"action '{name}' CANNOT WORK: {why}" for name, why in missing if why))


def list_text(path: Path, actions: Sequence[Action]) -> str:
    """Return what is set up, a line each, with what is missing and what to be careful about."""
    if not actions:
        return f"No actions are set up: write them into {path}, as README.md shows."
    width = max(len(action.name) for action in actions)
    lines = [line for action in actions for line in _lines(action, width)]
    advice = "Try them, with the spindle off: chipsong actions try"
    return "\n".join([*lines, *(f"! {caution}" for caution in cautions(actions)), advice])


def _lines(action: Action, width: int) -> list[str]:
    on = ", ".join(name for name in NAMES if name in action.on)
    tries = "1 try" if action.tries == 1 else f"{action.tries} tries"
    lines = [f"{action.name:{width}}  at {on}: {action.does.describe()} ({tries} of {action.limit:g} s)"]
    missing = lacks(action)
    return [*lines, f"{'':{width}}  CANNOT WORK: {missing}"] if missing else lines


def done_text(done: Done) -> str:
    """Return what became of an action, in words."""
    return _told(done.action, done.event.name, ok=done.ok, said=done.said, took=done.took)


def done_to_dict(done: Done, at: float) -> dict[str, object]:
    """Return it as the journal keeps it; ``at`` is s from the run's first sample."""
    return {
        "event": ACTION,
        "at": round(at, 4),
        "action": done.action,
        "for": done.event.name,
        "for_at": round(done.event.at, 4),
        "ok": done.ok,
        "said": done.said,
        "took": round(done.took, 3),
    }


def kept_text(body: Mapping[str, Any]) -> str:
    """Return in words what the journal kept of an action."""
    return _told(body["action"], body["for"], ok=body["ok"], said=body["said"], took=body["took"])


def _told(action: str, event: str, *, ok: bool, said: str, took: float) -> str:
    came = "done" if ok else "FAILED"
    return f"action '{action}' at {event} {came} after {took:.1f} s: {printable(said)}"
