"""How a fault meets what happens: from when on, in what setting, and what the bit then meets."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program import Part
from recordings_synthetic.faults import Fault, Setting, Spell, Trouble
from recordings_synthetic.score import Score, Setup
from recordings_synthetic.stage import Stage
from recordings_synthetic.stock import Engagement


@dataclass(frozen=True, eq=False)
class Went:
    """What went wrong: when, what would have been cut without it at each tick, and which parts there are."""

    fault: Fault
    spell: Spell
    cuts: NDArray[np.bool_]
    parts: tuple[Part, ...]


def setting_of(stage: Stage, healthy: Score, met: Engagement, spell: Spell, setup: Setup) -> Setting:
    """Return what a fault needs to know to unfold."""
    scene = stage.scene
    return Setting(
        spell=spell,
        step=setup.grid.step,
        seed=setup.seed,
        position=scene.path.position,
        cutting=healthy.load > 0.0,
        depth=met.depth,
        speed=healthy.speed,
        flutes=scene.of_bit("flutes"),
        diameter=scene.of_bit("diameter"),
        steps=setup.gantry.steps,
    )


def met_with(stage: Stage, well: Engagement, trouble: Trouble) -> Engagement:
    """Return what the bit meets with something wrong."""
    if trouble.offset is None and not trouble.lower.any():
        return well
    return well.until(trouble.onset, stage.meets(stage.scene.under(trouble).path, trouble.lower))


def spell_of(stage: Stage, healthy: Score, fault: Fault) -> Spell:
    """Return when a fault is heard: from the first cutting on until its bit is taken out, or to the end."""
    if fault.at_line is not None:
        asked = stage.first_tick(fault.at_line)
    else:
        asked = math.ceil((fault.at or 0.0) / healthy.grid.step)
    cutting = np.flatnonzero(healthy.load[asked:] > 0.0)
    if not len(cutting):
        raise ValueError(f"{fault}: nothing is cut from there on")
    first = asked + int(cutting[0])
    stopped = np.flatnonzero(stage.scene.out[first:] & fault.with_bit)
    return Spell(first, first + int(stopped[0]) if len(stopped) else len(healthy.load))
