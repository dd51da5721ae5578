"""How fast a machine was in past runs beside what was assumed of it: kept for its next one."""

import tomllib
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import tomlkit

from analysis.errors import ChipsongError
from analysis.pace import LEAST, MOST, UNKNOWN, Learned
from monitor.journal import Run
from monitor.journal.held import alone_in
from monitor.saving import replace_file

PACES = "paces.toml"
"""The file, in the folder of the shelf: a table for each machine, by its name."""

_SAYS = (
    "How fast each machine was beside what was said or assumed. Take out what is wrong: it is learned anew."
)


def read_pace(home: Path, machine: str) -> Learned:
    """
    Return what was learned of a machine; `UNKNOWN` where nothing was.

    Raises
    ------
    ChipsongError
        When the file is wrong; the text says what to do.
    """
    told = _read(home / PACES).get(machine, {})
    pace = pace_from_plain(told)
    if pace is None:
        raise ChipsongError(
            f"{home / PACES}: of '{machine}' feeds, rapids and turns must be numbers from {LEAST} to {MOST}: "
            "put them right, or take them out"
        )
    return pace


def keep_pace(home: Path, machine: str, learned: Learned) -> None:
    """
    Keep what was learned of a machine; what was kept of others stays as it is.

    Raises
    ------
    ChipsongError
        When that cannot be written.
    """
    path = home / PACES
    try:
        with alone_in(home):
            kept = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else _new()
            kept[machine] = {name: round(share, 3) for name, share in pace_to_plain(learned).items()}
            replace_file(path, tomlkit.dumps(kept))
    except (OSError, ValueError) as error:
        raise ChipsongError(
            f"how fast the machine was cannot be kept in {path} ({error}): make room, or put the file right; "
            "until then each run begins with what is known so far"
        ) from error


def pace_to_plain(learned: Learned) -> dict[str, float]:
    """Return what was learned as TOML and JSON can say it."""
    return {name: share for name, share in asdict(learned).items() if share is not None}


def pace_from_plain(told: object) -> Learned | None:
    """Return what was learned; ``None`` where that can't be."""
    if not isinstance(told, Mapping):
        return None
    shares = {name: told[name] for name in ("feeds", "rapids", "turns") if name in told}
    for number in shares.values():
        if not isinstance(number, int | float) or not LEAST <= number <= MOST:
            return None
    return Learned(**{name: float(share) for name, share in shares.items()})


def pace_of(run: Run) -> Learned:
    """Return what was known of the machine when a run began."""
    return pace_from_plain(run.meta.get("pace", {})) or UNKNOWN


def _new() -> tomlkit.TOMLDocument:
    fresh = tomlkit.document()
    fresh.add(tomlkit.comment(_SAYS))
    return fresh


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise ChipsongError(f"{path} cannot be read ({error}): put it right, or take it away") from error
