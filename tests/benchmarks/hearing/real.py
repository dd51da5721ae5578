"""
Sensitivity on real sound: real recordings of a rotating machine with a modelled modulation mixed in.

A loose bit is the hypothesis of this project, and no recording of one was found. What can be checked on real
sound is how deep a once-per-revolution modulation must be for it to be heard through a real machine, a real
room and a real phone: from a known time on all of the sound is multiplied by 1 + depth x cos(turn). It is
heard as a bit with two flutes would be: with one, a swell once per turn is the tooth's own. The recordings
are short, so each is played three times on end, and the last time with the modulation: what is before and
after differs by that alone.

The recordings are no part of the project (see ``tests/analysis/test_real_recordings.py``); their folder is
the one that CHIPSONG_RECORDINGS names. They were listened to while thresholds were chosen, so unlike the
simulated runs they judge nothing that was not looked at before.
"""

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm, StateChange
from analysis.listener import Listener
from analysis.locate import Nowhere

DEPTHS = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
WITHIN = 10.0
# The rotor slips behind the inverter's field a little; four poles.
_SLIP = 0.997
# A recording is played so many times untouched before it is played with a modulation.
_UNTOUCHED = 2


@dataclass(frozen=True)
class Tried:
    """
    A recording with a modulation, or without.

    Attributes
    ----------
    name
        Of the recording.
    depth
        Of the modulation; 0 for the untouched recording.
    begin
        When it begins, s.
    alarms
        When alarms came, s.
    compares
        Whether the watcher was comparing when the modulation began, and in no alarm of the recording's own.
    """

    name: str
    depth: float
    begin: float
    alarms: tuple[float, ...]
    compares: bool = True

    @property
    def delay(self) -> float | None:
        """From the modulation's begin to the first alarm within ``WITHIN`` s; ``None`` when there is none."""
        late = (at - self.begin for at in self.alarms if self.begin <= at <= self.begin + WITHIN)
        return next(late, None)

    @property
    def early(self) -> int:
        """Alarms before the modulation began: the recording's own."""
        return sum(at < self.begin for at in self.alarms)


def folder() -> Path | None:
    """Return where the recordings are; ``None`` where nobody said."""
    named = os.environ.get("CHIPSONG_RECORDINGS")
    return Path(named) if named else None


def tries(where: Path) -> Iterator[tuple[Path, float]]:
    """Yield what is to be tried: each recording untouched, and at each depth."""
    for path in sorted(where.glob("*.flac")):
        for depth in (0.0, *DEPTHS):
            yield path, depth


def run(where: Path, jobs: int) -> list[Tried]:
    """Return what came of all recordings in a folder."""
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(_try, tries(where)))


def _try(what: tuple[Path, float]) -> Tried:
    path, depth = what
    once, rate = soundfile.read(path, dtype="float32")
    turn = _SLIP * _inverter(path) / 2.0
    sound, begin = thrice(once, rate, turn, depth)
    listener = Listener(rate, {0: Bit("motor", 6.0, 2, 60.0 * turn)}, Nowhere())
    events = listener.hear(sound).events
    before = [event.state for event in events if isinstance(event, StateChange) and event.at <= begin]
    alarms = tuple(event.at for event in events if isinstance(event, Alarm))
    return Tried(path.stem, depth, begin, alarms, before[-1:] in (["listen"], ["uneasy"]))


def thrice(
    once: NDArray[np.float32], rate: int, turn: float, depth: float
) -> tuple[NDArray[np.float32], float]:
    """Return a sound on end, the last time with the modulation, and when that begins, s."""
    begin = _UNTOUCHED * len(once) / rate
    return modulated(np.tile(once, _UNTOUCHED + 1), rate, turn, depth, begin), begin


def modulated(
    sound: NDArray[np.float32], rate: int, turn: float, depth: float, begin: float
) -> NDArray[np.float32]:
    """Return sound whose loudness swells ``turn`` times a second, by ``depth``, from ``begin`` s on."""
    at = np.arange(len(sound)) / rate
    swell = 1.0 + depth * np.cos(2.0 * np.pi * turn * at) * (at >= begin)
    return (sound * swell).astype(np.float32)


def _inverter(path: Path) -> float:
    """Frequency of the motor's supply, Hz, as the file's name ends: ``..._30Hz``."""
    return float(path.stem.rsplit("_", 1)[1].removesuffix("Hz"))
