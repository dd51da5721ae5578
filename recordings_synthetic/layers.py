"""
The ways in which a bit cuts at the same time: sideways, downwards, and what a fault adds to both.

Force is the sum of its layers. A layer says how much is cut (``weight``), under which conditions, with what
tools and what wood; a fault that changes a force in proportion is a layer of its own, so that edges that rub
more are a second bit that only rubs, in the same place.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic import tables
from recordings_synthetic.chance import stream, wander
from recordings_synthetic.faults.trouble import Swing, Trouble
from recordings_synthetic.force import Runout, Wood
from recordings_synthetic.scene import Scene
from recordings_synthetic.stock import Engagement
from recordings_synthetic.tables import Tool

Floats = NDArray[np.float64]

STILL = 0.05  # mm/s; slower than this is standing
RUBBED = Wood(tangential=0.0, edge=0.4, radial=1.0)
"""What worn edges add: no chips, and they are pressed away as hard as they rub (friction near 1, rough)."""
MISSING = 1.0  # mm by which a tooth stands in where its edge is gone: more than any feed
CHIPS = Wood(edge=0.0)
"""What a vibrating bit adds to and takes from: the chips alone."""


@dataclass(frozen=True, eq=False)
class Layer:
    """
    One way of cutting.

    Attributes
    ----------
    weight
        (n,) mm of depth (sideways) or share of the bit's end (downwards); 0 when it does not cut so.
    conditions
        (n, 5) rounded ``tables.Condition``.
    load
        (n,) N, mean tangential force.
    rubs
        (n,) mm of edge that are in the wood for each ``weight``, mean over a turn.
    tools, wood
        What cuts, by T number, and what is cut.
    swing
        What the chips' thickness is multiplied by, in its rhythm; ``None`` for as it is.
    """

    weight: Floats
    conditions: NDArray[np.int64]
    load: Floats
    rubs: Floats
    tools: dict[int, Tool]
    wood: Wood = field(default_factory=Wood)
    swing: Swing | None = None

    def times(self, share: Floats) -> "Layer":
        """Return as much of it as ``share`` (n,) says."""
        return replace(self, weight=self.weight * share, load=self.load * share)

    def held_at(self, pick: NDArray[np.intp]) -> "Layer":
        """Return it at other ticks."""
        return replace(
            self,
            weight=self.weight[pick],
            conditions=self.conditions[pick],
            load=self.load[pick],
            rubs=self.rubs[pick],
        )


def layers(scene: Scene, met: Engagement, trouble: Trouble, seed: int) -> tuple[Layer, ...]:
    """Return all that cuts when the bit meets ``met``: sideways and downwards first, then what is added."""
    cut = (_sideways(scene, met, trouble, seed), _downwards(scene, met, seed))
    cut = (cut[0].times(trouble.grip), cut[1].times(trouble.grip))
    whole = tuple(layer.times(1.0 - trouble.chipped) for layer in cut)
    return (*whole, *_chipped(scene, cut, trouble), *_worn(cut, trouble), *_swinging(cut[0], trouble))


def _chipped(scene: Scene, cut: tuple[Layer, ...], trouble: Trouble) -> Iterator[Layer]:
    """Yield what is cut where the first tooth's edge is gone: by the others, where there are others."""
    if trouble.chipped.any():
        share = trouble.chipped * (scene.of_bit("flutes") > 1.0)
        tools = {n: tool.with_runout(replace(tool.runout, short=MISSING)) for n, tool in scene.tools.items()}
        yield from (replace(layer.times(share), tools=tools) for layer in cut)


def _worn(cut: tuple[Layer, ...], trouble: Trouble) -> Iterator[Layer]:
    """Yield what worn edges add."""
    if trouble.wear.any():
        for layer in cut:
            weight = layer.weight * trouble.wear
            yield replace(layer, weight=weight, load=weight * layer.rubs * RUBBED.edge, wood=RUBBED)


def _swinging(side: Layer, trouble: Trouble) -> Iterator[Layer]:
    """Yield what vibration adds to the chips and takes from them; teeth stand as they should for that."""
    if trouble.swing is not None:
        weight = side.weight * (trouble.swing.size > 0.0)
        tools = {n: tool.with_runout(Runout()) for n, tool in side.tools.items()}
        nothing = np.zeros(len(weight))
        yield replace(side, weight=weight, load=nothing, tools=tools, wood=CHIPS, swing=trouble.swing)


def _per_tooth(rate: Floats, scene: Scene) -> Floats:
    """Return mm per tooth from mm/s."""
    teeth = scene.of_bit("flutes") * np.maximum(scene.command, 600.0) / 60.0
    return np.asarray(rate / teeth)


def _sideways(scene: Scene, met: Engagement, trouble: Trouble, seed: int) -> Layer:
    across, step = scene.path.across, scene.path.step
    wood, teeth = Wood(), scene.of_bit("flutes") / (2.0 * math.pi)
    feed = _per_tooth(across, scene)
    moving = np.clip(across / 1.0, 0.0, 1.0) * (across > STILL)
    moving = np.maximum(moving, trouble.rub) * (scene.command > 0.0)
    along_fibres = 1.0 + 0.06 * np.cos(2.0 * scene.path.heading)
    weight = met.depth * moving * along_fibres * _unevenness(seed, "wood sideways", len(across), step)
    mean = wood.tangential * feed * (np.cos(met.entry) - np.cos(met.leave))
    mean += wood.edge * (met.leave - met.entry)
    conditions = _conditions(scene, feed, tables.angle_step(met.entry), tables.angle_step(met.leave))
    conditions[:, 4] = tables.lag_step(met.depth, scene.of_bit("diameter"))
    load = weight * mean * scene.of_bit("flutes") / (2.0 * math.pi)
    return Layer(weight, conditions, load, teeth * (met.leave - met.entry), scene.tools)


def _downwards(scene: Scene, met: Engagement, seed: int) -> Layer:
    sinking, wood = np.maximum(-scene.path.velocity[:, 2], 0.0), Wood()
    feed = _per_tooth(sinking, scene)
    moving = np.clip(sinking / 0.5, 0.0, 1.0) * (sinking > STILL) * (scene.command > 0.0)
    uneven = _unevenness(seed, "wood downwards", len(sinking), scene.path.step)
    weight = met.bottom * moving * uneven
    nowhere = np.full(len(feed), -1)
    edges = scene.of_bit("flutes") * scene.of_bit("diameter") / 2.0
    load = weight * edges * (wood.tangential * feed + wood.edge)
    return Layer(weight, _conditions(scene, feed, nowhere, nowhere), load, edges, scene.tools)


def _conditions(
    scene: Scene, feed: Floats, entry: NDArray[np.int64], leave: NDArray[np.int64]
) -> NDArray[np.int64]:
    return np.column_stack([scene.bit, tables.feed_step(feed), entry, leave, np.zeros(len(feed), np.int64)])


def _unevenness(seed: int, name: str, count: int, step: float) -> Floats:
    """Return how hard the wood happens to be along the way: half a dB quickly, half a dB slowly."""
    rng = stream(seed, name)
    quick, slow = wander(rng, count, step, memory=0.1), wander(rng, count, step, memory=2.0)
    return np.exp(0.058 * (quick + slow))
