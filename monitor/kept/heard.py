"""What a run keeps of how it was heard: which bit when, where sound was lost, and what was learned."""

import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import analysis
from analysis.baseline import Baseline
from analysis.listener import COLUMNS, CUT, Listener, Step
from analysis.reference import from_plain, to_plain
from monitor.journal import Event, Run

BIT, GAP, NOTICE = "bit", "gap", "notice"
"""
The names of the journal's events that say that another bit cuts from here on, that sound was lost, and of
trouble that is no deafness.
"""

NOT_HEARING = ("contents", "cutting_advice", "figures", "microphone", "order_spectrum", "recount", "tuning")
"""
What of `analysis` decides nothing, for neither the listener nor what follows the place imports it.

Within others there is more of the kind, as recuts are: a change of these is taken for one of the hearing,
which says too much and never too little.
"""

# So late, s, runs of old noted the bit that cut from the beginning: once the first block of sound was heard.
_FIRST_BLOCK = 1.0

_PHASE = COLUMNS.index("phase")


@cache
def hearing() -> str:
    """Return a name for the code that decides: another one may decide otherwise."""
    folder = Path(analysis.__file__).parent
    files = [path.relative_to(folder) for path in sorted(folder.rglob("*.py"))]
    digest = hashlib.sha256()
    for path in files:
        if path.parts[0].removesuffix(".py") not in NOT_HEARING:
            digest.update(f"{path}\n".encode() + (folder / path).read_bytes())
    return digest.hexdigest()[:12]


class HeardNotes:
    """Notes while a run is heard what is to be kept of it beside events, rows and sound."""

    def __init__(self) -> None:
        self._bit = 0
        self._rows: dict[int, int] = {}

    def look(self, listener: Listener, step: Step) -> dict[str, Any] | None:
        """Take in what came of a block; return what is to be kept, if another bit cuts now."""
        bit = listener.locator.context.bit
        # What is told once the first block was heard was so from its beginning on.
        since = listener.at if self._rows else 0.0
        self._rows[bit] = self._rows.get(bit, 0) + int((step.table[:, _PHASE] == CUT).sum())
        if bit == self._bit:
            return None
        self._bit = bit
        return {"event": BIT, "at": since, "bit": bit}

    def learned(self, listener: Listener, cut_s: float) -> dict[str, Any]:
        """Return what was learned by the end, in which ``cut_s`` seconds of cutting were heard."""
        rows = max(1, sum(self._rows.values()))
        return {
            "baselines": [
                {"bit": bit, "kind": kind, "baseline": to_plain(baseline)}
                for (bit, kind), baseline in listener.watcher.baselines.items()
            ],
            "cut": {str(bit): round(cut_s * count / rows, 2) for bit, count in self._rows.items()},
        }


def gap(listener: Listener, samples: int, note: str) -> dict[str, Any]:
    """
    Return what is to be kept of samples that never came.

    It is kept before what came after it: where a run is broken off, sound without it would be heard again as
    silence. So a long gap, of which a source tells piece by piece, is kept in pieces.
    """
    first = round(listener.at * listener.rate)
    return {"event": GAP, "at": listener.at, "first": first, "lost": samples, "note": note}


def bits_over_time(run: Run) -> tuple[tuple[float, int], ...]:
    """Return from when on, s, which T number cut; 0 where none was told."""
    noted = [(event.at, event.body["bit"]) for event in run.events() if event.name == BIT]
    if noted and noted[0][0] <= _FIRST_BLOCK:
        noted[0] = (0.0, noted[0][1])
    return tuple(noted)


def bit_at(at: float, bits: Sequence[tuple[float, int]]) -> int:
    """Return which T number of ``bits`` cut at ``at`` s; 0 where none was told, and in runs of old."""
    return next((bit for since, bit in reversed(bits) if since <= at), 0)


def bit_of(event: Event, bits: Sequence[tuple[float, int]]) -> int:
    """Return the T number that an event is about: as it says, else the one of ``bits`` that cut then."""
    told = event.body.get("bit")
    return bit_at(event.at, bits) if told is None else int(told)


def baselines_of(run: Run) -> dict[int, dict[str, Baseline]]:
    """
    Return what was learned in a run, by T number and kind of cut; empty where nothing was kept of it.

    Raises
    ------
    ValueError
        When it was kept by a version that compares other signs.
    """
    found: dict[int, dict[str, Baseline]] = {}
    for entry in run.learned.get("baselines", []):
        found.setdefault(entry["bit"], {})[entry["kind"]] = from_plain(entry["baseline"])
    return found


def cut_seconds(run: Run) -> dict[int, float]:
    """Return for how many seconds each T number was heard cutting."""
    if "cut" in run.learned:
        return {int(bit): seconds for bit, seconds in run.learned["cut"].items()}
    # It was broken off: its rows tell.
    rows = run.rows()
    if len(rows.at) < 2 or "phase" not in rows.columns:
        return {}
    times = rows.at[rows.values[:, rows.columns.index("phase")] == CUT]
    since = bits_over_time(run)
    starts = np.array([at for at, _ in since])
    which = np.searchsorted(starts, times, side="right") - 1
    hop = float(np.median(np.diff(rows.at)))
    numbers = [since[index][1] if index >= 0 else 0 for index in which.tolist()]
    return {bit: hop * numbers.count(bit) for bit in set(numbers)}
