"""
From force to sound: what vibrates, what turns, what steps.

Forces on the bit, and the pull of its own mass beside the axis, shake the machine and the sheet, which ring
at frequencies of their own. Breaking chips make noise in proportion to the momentary force of the edges, so
it comes and goes with the teeth. The spindle's motor hums at its speed, its fan's blades and its commutator
sound above it; the axes' motors whine at the rate of their steps. Everything is played block by block, and
each filter keeps its state, so that nothing before a change knows of it.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.balance import pull
from recordings_synthetic.chance import stream
from recordings_synthetic.cutter import Cutter, cutter, ramp
from recordings_synthetic.faults.trouble import Noise
from recordings_synthetic.filters import resonance
from recordings_synthetic.layers import Layer
from recordings_synthetic.score import Score

Singles = NDArray[np.float32]

BLOCK = 1024  # ticks


@dataclass(frozen=True)
class Mode:
    """Something that rings: its frequency in Hz, quality, gain, and from which side it is pushed, rad."""

    frequency: float
    quality: float
    gain: float
    side: float


MODES = (
    Mode(95.0, 6.0, 0.5, 0.3),
    Mode(215.0, 7.0, 0.7, 1.9),
    Mode(390.0, 8.0, 0.8, 0.9),
    Mode(640.0, 8.0, 1.0, 2.4),
    Mode(1050.0, 9.0, 0.9, 0.2),
    Mode(1800.0, 9.0, 0.8, 1.3),
    Mode(3100.0, 7.0, 0.8, 2.8),
    Mode(5200.0, 5.0, 0.7, 0.6),
    Mode(8300.0, 3.0, 0.6, 1.7),
)
"""Gantry, spindle mount, table and sheet, low to high; a machine's own differ from these by some percent."""

NOISE = 1.4  # standard deviation of the breaking chips' force, as a share of the edges' momentary force
DIRECT = 0.5  # of it that reaches the air without the machine
MOTOR = 1.0  # N that would sound as loud as the motor at full speed
MOTOR_ORDERS = {1: 0.2, 2: 0.15, 3: 0.1, 9: 0.5, 18: 0.25, 22: 0.35}  # 9 fan blades, 22 commutator bars
FAN = 2.5
WHINE = 0.25
FULL_SPEED = 300.0  # turns/s


class Ring:
    """
    A resonance that keeps its state; the same as ``filters.Filter`` of it, to the last bit, in half the time.

    Parameters
    ----------
    section
        (6,) one second-order section, of ``filters.resonance``.
    """

    def __init__(self, section: NDArray[np.float64]) -> None:
        self._push, self._back = section[:3], section[3:]
        self._state = np.zeros(2)

    def __call__(self, block: NDArray[Any]) -> NDArray[np.float64]:
        """Return the block as it rings."""
        from scipy.signal import lfilter  # noqa: PLC0415 - takes a second to import; only rendering needs it

        out, self._state = lfilter(self._push, self._back, block, zi=self._state)
        return np.asarray(out, dtype=np.float64)


class Structure:
    """Machine and sheet: forces in, sound out."""

    def __init__(self, rate: int, seed: int) -> None:
        rng = stream(seed, "structure")
        own = np.exp(0.05 * rng.standard_normal(len(MODES)))
        turned = rng.uniform(-0.4, 0.4, len(MODES))
        self._modes = [
            (mode.side + turn, Ring(resonance(mode.frequency * share, mode.quality, rate, gain=mode.gain)[0]))
            for mode, share, turn in zip(MODES, own, turned, strict=True)
            if mode.frequency * share < 0.45 * rate
        ]
        self._air = Ring(resonance(3500.0, 0.5, rate, gain=DIRECT)[0])

    def __call__(self, plane: NDArray[np.complex64], chips: Singles) -> NDArray[np.float64]:
        """Return the sound of a force in the plane (N) and of the breaking chips' force (N)."""
        sound = self._air(chips)
        along, across = plane.real.copy(), plane.imag.copy()
        for side, ring in self._modes:
            push = along * math.cos(side) + across * math.sin(side)
            sound += ring(push + chips)
        return sound


class Motor:
    """The spindle's motor and its fan."""

    def __init__(self, rate: int, seed: int) -> None:
        rng = stream(seed, "motor")
        self._rng = stream(seed, "fan")
        self._fan = Ring(resonance(1600.0, 0.4, rate, gain=FAN)[0])
        self._scale = math.sqrt(rate / 48000.0)
        turn = np.arange(2049) / 2048
        phases = rng.uniform(0.0, 1.0, len(MOTOR_ORDERS))
        orders = [(n, size) for n, size in MOTOR_ORDERS.items() if n * FULL_SPEED * 1.5 < 0.45 * rate]
        self._turn = sum(
            size * np.sin(2.0 * math.pi * (n * turn + phase))
            for (n, size), phase in zip(orders, phases, strict=False)
        ).astype(np.float32)

    def __call__(self, turn: NDArray[np.float64], share: Singles) -> NDArray[np.float64]:
        """Return the sound at phases ``turn``, at ``share`` of full speed."""
        place = (turn - np.floor(turn)) * 2048
        left = place.astype(np.intp)
        hum = self._turn[left]
        hum += (place - left).astype(np.float32) * (self._turn[left + 1] - hum)
        noise = self._rng.standard_normal(len(turn), dtype=np.float32)
        rushing = self._fan(noise * (share * share * np.float32(self._scale)))
        return np.asarray(MOTOR * (share * np.sqrt(share) * hum + rushing))


def whine(steps: NDArray[np.float64], rates: NDArray[np.float64], lift: Singles) -> Singles:
    """
    Return the whine of the axes' motors.

    Parameters
    ----------
    steps, rates
        (ticks + 1, 3) steps made, and steps per second.
    lift
        (hop,) from 0 to 1 within a tick.
    """
    sound = np.zeros((len(steps) - 1, len(lift)), np.float32)
    for axis in range(3):
        loud = np.clip(rates[:, axis] / 300.0, 0.0, 1.0).astype(np.float32)
        going = np.flatnonzero(loud[:-1] + loud[1:])
        made = ramp(steps[:, axis], going, lift.astype(np.float64))
        phase = (made - np.floor(made)).astype(np.float32)
        sound[going] += ramp(loud, going, lift) * np.sin(np.float32(2.0 * math.pi) * phase)
    return np.float32(WHINE) * sound


def groan(cycles: NDArray[np.float64]) -> Singles:
    """Return the groan of a motor that falls back once a cycle: a saw's first multiples."""
    phase = (2.0 * math.pi * (cycles - np.floor(cycles))).astype(np.float32)
    return np.asarray(sum(np.sin(n * phase) / np.float32(n) for n in range(1, 7)))


def play(score: Score, seed: int) -> Iterator[NDArray[np.float64]]:
    """Yield the sound of a score block by block, in N; all blocks together have (ticks - 1) x hop samples."""
    rate = score.grid.rate
    structure, motor, noise = Structure(rate, seed), Motor(rate, seed), stream(seed, "chips")
    wrong = Wrong(score.trouble.noise, rate, seed)
    cutters = [cutter(score, layer, highest=_highest(score, layer)) for layer in score.layers]
    scale = np.float32(NOISE * math.sqrt(rate / 48000.0))
    for first in range(0, len(score.turn) - 1, BLOCK):
        ticks = np.arange(first, min(first + BLOCK, len(score.turn) - 1))
        lift = np.arange(score.grid.hop, dtype=np.float32) / np.float32(score.grid.hop)
        plane, torque = _force(score, cutters, ticks, lift)
        chips = noise.standard_normal(torque.size, dtype=np.float32) * np.maximum(torque, 0.0) * scale
        pushes, groans = wrong(ticks, lift)
        yield structure(plane, chips + pushes) + _machine(score, motor, ticks, lift) + groans


def _highest(score: Score, layer: Layer) -> float:
    """Return the highest order that the sample rate can carry, with a vibration on top if there is one."""
    most = 0.47 * score.grid.rate
    if layer.swing is not None:
        most -= float(np.diff(layer.swing.phase).max()) / score.grid.step
    return max(most, 0.0) / score.fastest


class Wrong:
    """What a fault adds by itself: blows and bursts on the structure, and an axis' motor that groans."""

    def __init__(self, noise: Noise, rate: int, seed: int) -> None:
        self._noise, self._rng = noise, stream(seed, "wrong")
        self._scale = np.float32(math.sqrt(rate / 48000.0))
        self._pushes = bool(noise.thumps.any() or noise.bursts.any())
        self._groans = bool(noise.groan.any())

    def __call__(self, ticks: NDArray[np.intp], lift: Singles) -> tuple[Singles | float, Singles | float]:
        """Return force on the structure, and sound in the air, flat, N."""
        noise = self._noise
        pushes: Singles | float = 0.0
        groans: Singles | float = 0.0
        if self._pushes:
            hiss = self._rng.standard_normal((len(ticks), len(lift)), dtype=np.float32) * self._scale
            force = ramp(noise.thumps, ticks, lift) + hiss * ramp(noise.bursts, ticks, lift)
            pushes = force.reshape(-1).astype(np.float32)
        if self._groans:
            cycles = ramp(noise.groans, ticks, lift.astype(np.float64))
            groans = (ramp(noise.groan, ticks, lift) * groan(cycles)).reshape(-1).astype(np.float32)
        return pushes, groans


def _force(
    score: Score, cutters: list[Cutter], ticks: NDArray[np.intp], lift: Singles
) -> tuple[NDArray[np.complex64], Singles]:
    """Return force in the machine's X and Y (as a complex number) and along the edges' paths, flat, N."""
    parts = [cuts(score.phase, ticks, lift) for cuts in cutters]
    plane, torque = parts[0]
    for more in parts[1:]:
        plane, torque = plane + more[0], torque + more[1]
    plane *= ramp(score.towards, ticks, lift)
    plane += _pull(score, ticks, lift)
    return plane.reshape(-1), torque.reshape(-1)


def _pull(score: Score, ticks: NDArray[np.intp], lift: Singles) -> NDArray[np.complex64]:
    """Return the pull of the bit's mass, N, in the machine's X and Y as a complex number."""
    parts = score.balance.held, score.balance.loose, score.balance.rocking
    held, loose, rocking = (ramp(part, ticks, lift) for part in parts)
    return pull(ramp(score.turn, ticks, lift.astype(np.float64)), held, loose, rocking)


def _machine(score: Score, motor: Motor, ticks: NDArray[np.intp], lift: Singles) -> NDArray[np.float64]:
    """Return the sound of everything but the cut, flat."""
    turn = ramp(score.turn, ticks, lift.astype(np.float64)).reshape(-1)
    share = ramp((score.speed / FULL_SPEED).astype(np.float32), ticks, lift).reshape(-1)
    rows = slice(int(ticks[0]), int(ticks[-1]) + 2)
    return motor(turn, share) + whine(score.steps[rows], score.whine[rows], lift).reshape(-1)
