"""
The score of a recording: everything that changes slowly, at ticks of about a millisecond.

Sound is then played from the score sample by sample (``sound``). What is rounded here, such as angles of
engagement, is rounded once, for all.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.balance import Balance, balance
from recordings_synthetic.chance import stream
from recordings_synthetic.faults import Trouble, well
from recordings_synthetic.layers import Layer, layers
from recordings_synthetic.machine import Gantry
from recordings_synthetic.scene import Scene
from recordings_synthetic.spindle import turning, turns
from recordings_synthetic.stock import Engagement

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Samples and ticks: ``rate`` samples a second, ``hop`` samples a tick."""

    rate: int
    hop: int

    @property
    def step(self) -> float:
        """Seconds from tick to tick."""
        return self.hop / self.rate


def grid(rate: int) -> Grid:
    """Return ticks of about a millisecond, of a whole number of samples."""
    return Grid(rate, max(1, round(rate / 1000)))


@dataclass(frozen=True, eq=False)
class Score:
    """
    What is played, at n ticks.

    Attributes
    ----------
    grid
        Ticks and samples.
    turn, speed
        (n,) turns that the spindle has made, and turns per second.
    phase
        (n,) turns that the bit has made against the direction of feed.
    towards
        (n,) the direction of feed as a complex number of size 1.
    layers
        All that cuts: sideways, downwards, and what a fault adds.
    trouble
        What is wrong.
    balance
        The pull of the bit's mass beside the axis.
    steps, whine
        (n, 3) motor steps made by the axes, and steps per second.
    fastest
        Turns per second that the spindle never exceeds.
    """

    grid: Grid
    turn: Floats
    speed: Floats
    phase: Floats
    towards: NDArray[np.complex64]
    layers: tuple[Layer, ...]
    trouble: Trouble
    balance: Balance
    steps: Floats
    whine: Floats
    fastest: float

    @property
    def load(self) -> Floats:
        """(n,) N, mean tangential force of all cutting."""
        return _load(self.layers)


@dataclass(frozen=True, eq=False)
class Setup:
    """Ticks and samples, the machine, and the seed of all chance."""

    grid: Grid
    gantry: Gantry
    seed: int


def _load(all_of_them: tuple[Layer, ...]) -> Floats:
    """Return the sum of the layers' loads."""
    return np.asarray(sum(layer.load for layer in all_of_them))


def compose(told: Scene, met: Engagement, trouble: Trouble, setup: Setup) -> Score:
    """Return the score of a scene in which the bit meets ``met`` and something is wrong."""
    lines, gantry, seed = setup.grid, setup.gantry, setup.seed
    real = told.under(trouble)
    cut = layers(real, met, trouble, seed)
    speed = turning(told.command, _load(cut), lines.step, gantry.spindle, stream(seed, "spindle"))
    speed = speed * trouble.speed
    turn, heading = turns(speed, lines.step), real.path.heading
    # The motors are stepped as the program says, whether their axes follow or not.
    whine = np.abs(told.path.velocity) * np.array(gantry.steps)
    return Score(
        grid=lines,
        turn=turn,
        speed=speed,
        phase=turn + heading / (2.0 * math.pi),
        towards=np.exp(1j * heading).astype(np.complex64),
        layers=cut,
        trouble=trouble,
        balance=balance(real, trouble.loose, speed),
        steps=told.path.position * np.array(gantry.steps),
        whine=whine if trouble.whine is None else whine * trouble.whine,
        fastest=max(1.05 * float(told.command.max()) / 60.0, 1.0),
    )


def still(score: Score, tick: int, seconds: float) -> Score:
    """Return a score that stays for some seconds as another, in which all is well, is at one tick."""
    count = math.ceil(seconds / score.grid.step)
    pick = np.full(count, tick)
    turn = np.arange(count) * score.grid.step * score.speed[tick]
    return replace(
        score,
        turn=turn,
        speed=score.speed[pick],
        phase=turn,
        towards=score.towards[pick],
        layers=tuple(layer.held_at(pick) for layer in score.layers),
        trouble=well(count),
        balance=score.balance.at(pick),
        steps=score.steps[pick],
        whine=np.zeros((count, 3)),
    )
