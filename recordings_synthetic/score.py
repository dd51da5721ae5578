"""
The score of a recording: everything that changes slowly, at ticks of about a millisecond.

Sound is then played from the score sample by sample (``sound``). What is rounded here, such as angles of
engagement, is rounded once, for all.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic import tables
from recordings_synthetic.chance import stream, wander
from recordings_synthetic.faults import Looseness
from recordings_synthetic.force import Wood
from recordings_synthetic.machine import Gantry, Path
from recordings_synthetic.spindle import turning, turns
from recordings_synthetic.stock import Engagement
from recordings_synthetic.tables import Tool

Floats = NDArray[np.float64]

STILL = 0.05  # mm/s; slower than this is standing


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
class Layer:
    """
    One way of cutting, sideways or downwards.

    Attributes
    ----------
    weight
        (n,) mm of depth (sideways) or share of the bit's end (downwards); 0 when it does not cut so.
    conditions
        (n, 5) rounded ``tables.Condition``.
    load
        (n,) N, mean tangential force.
    """

    weight: Floats
    conditions: NDArray[np.int64]
    load: Floats


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
        Sideways and downwards cutting.
    loose
        What has come loose.
    steps, whine
        (n, 3) motor steps made by the axes, and steps per second.
    tools
        The bits as they sit in the spindle, by T number.
    fastest
        Turns per second that the spindle never exceeds.
    """

    grid: Grid
    turn: Floats
    speed: Floats
    phase: Floats
    towards: NDArray[np.complex64]
    layers: tuple[Layer, Layer]
    loose: Looseness
    steps: Floats
    whine: Floats
    tools: dict[int, Tool]
    fastest: float

    @property
    def load(self) -> Floats:
        """(n,) N, mean tangential force of all cutting."""
        return np.asarray(self.layers[0].load + self.layers[1].load)


@dataclass(frozen=True, eq=False)
class Scene:
    """
    What is to be scored, at n ticks.

    Attributes
    ----------
    path
        Where the bit is.
    command
        (n,) rpm that the spindle is told to turn at.
    bit
        (n,) T number in the spindle; 0 where there is none.
    out
        (n,) whether a bit is being changed.
    tools
        The bits by T number.
    """

    path: Path
    command: Floats
    bit: NDArray[np.int64]
    out: NDArray[np.bool_]
    tools: dict[int, Tool]

    def of_bit(self, value: str) -> Floats:
        """Return ``flutes`` or ``diameter`` of the bit at each tick; 1 where there is none."""
        most = max(self.tools, default=0)
        by_number = [
            float(getattr(self.tools[n], value)) if n in self.tools else 1.0 for n in range(most + 1)
        ]
        return np.array(by_number)[self.bit]


@dataclass(frozen=True, eq=False)
class Setup:
    """Ticks and samples, the machine, and the seed of all chance."""

    grid: Grid
    gantry: Gantry
    seed: int


def compose(scene: Scene, met: Engagement, loose: Looseness, setup: Setup) -> Score:
    """Return the score of a scene in which the bit meets ``met``."""
    lines, gantry, seed = setup.grid, setup.gantry, setup.seed
    layers = (_sideways(scene, met, seed), _downwards(scene, met, seed))
    load = layers[0].load + layers[1].load
    speed = turning(scene.command, load, lines.step, gantry.spindle, stream(seed, "spindle"))
    steps = scene.path.position * np.array(gantry.steps)
    turn, heading = turns(speed, lines.step), scene.path.heading
    return Score(
        grid=lines,
        turn=turn,
        speed=speed,
        phase=turn + heading / (2.0 * math.pi),
        towards=np.exp(1j * heading).astype(np.complex64),
        layers=layers,
        loose=loose,
        steps=steps,
        whine=np.abs(scene.path.velocity) * np.array(gantry.steps),
        tools=scene.tools,
        fastest=max(1.05 * float(scene.command.max()) / 60.0, 1.0),
    )


def _per_tooth(rate: Floats, scene: Scene) -> Floats:
    """Return mm per tooth from mm/s."""
    teeth = scene.of_bit("flutes") * np.maximum(scene.command, 600.0) / 60.0
    return np.asarray(rate / teeth)


def _sideways(scene: Scene, met: Engagement, seed: int) -> Layer:
    across, step = scene.path.across, scene.path.step
    wood = Wood()
    feed = _per_tooth(across, scene)
    moving = np.clip(across / 1.0, 0.0, 1.0) * (across > STILL) * (scene.command > 0.0)
    along_fibres = 1.0 + 0.06 * np.cos(2.0 * scene.path.heading)
    weight = met.depth * moving * along_fibres * _unevenness(seed, "wood sideways", len(across), step)
    mean = wood.tangential * feed * (np.cos(met.entry) - np.cos(met.leave))
    mean += wood.edge * (met.leave - met.entry)
    conditions = _conditions(scene, feed, tables.angle_step(met.entry), tables.angle_step(met.leave))
    conditions[:, 4] = tables.lag_step(met.depth, scene.of_bit("diameter"))
    return Layer(weight, conditions, weight * mean * scene.of_bit("flutes") / (2.0 * math.pi))


def _downwards(scene: Scene, met: Engagement, seed: int) -> Layer:
    sinking, wood = np.maximum(-scene.path.velocity[:, 2], 0.0), Wood()
    feed = _per_tooth(sinking, scene)
    moving = np.clip(sinking / 0.5, 0.0, 1.0) * (sinking > STILL) * (scene.command > 0.0)
    uneven = _unevenness(seed, "wood downwards", len(sinking), scene.path.step)
    weight = met.bottom * moving * uneven
    nowhere = np.full(len(feed), -1)
    edges = scene.of_bit("flutes") * scene.of_bit("diameter") / 2.0
    load = weight * edges * (wood.tangential * feed + wood.edge)
    return Layer(weight, _conditions(scene, feed, nowhere, nowhere), load)


def _conditions(
    scene: Scene, feed: Floats, entry: NDArray[np.int64], leave: NDArray[np.int64]
) -> NDArray[np.int64]:
    return np.column_stack([scene.bit, tables.feed_step(feed), entry, leave, np.zeros(len(feed), np.int64)])


def _unevenness(seed: int, name: str, count: int, step: float) -> Floats:
    """Return how hard the wood happens to be along the way: half a dB quickly, half a dB slowly."""
    rng = stream(seed, name)
    quick, slow = wander(rng, count, step, memory=0.1), wander(rng, count, step, memory=2.0)
    return np.exp(0.058 * (quick + slow))


def still(score: Score, tick: int, seconds: float) -> Score:
    """Return a score that stays for some seconds as another is at one tick, without its fault."""
    count = math.ceil(seconds / score.grid.step)
    pick = np.full(count, tick)
    side, down = (Layer(x.weight[pick], x.conditions[pick], x.load[pick]) for x in score.layers)
    nothing = np.zeros(count)
    turn = np.arange(count) * score.grid.step * score.speed[tick]
    return replace(
        score,
        turn=turn,
        speed=score.speed[pick],
        phase=turn,
        towards=score.towards[pick],
        layers=(side, down),
        loose=Looseness(nothing, nothing, nothing, 0.0),
        steps=score.steps[pick],
        whine=np.zeros((count, 3)),
    )
