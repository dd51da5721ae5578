"""
Simulated recordings: the bit goes its way, meets the sheet, something may go wrong, and it is heard.

Everything is INVENTED: computed from a seed, with the truth beside it. The sound of a slip is a hypothesis
(see ``faults``).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program import Part, Program, find_parts
from recordings_synthetic.facts import truth_of
from recordings_synthetic.faults import Fault, well
from recordings_synthetic.machine import Gantry
from recordings_synthetic.mishap import Went, met_with, setting_of, spell_of
from recordings_synthetic.room import Ear, Shop, air_of
from recordings_synthetic.score import Score, Setup, compose, grid, still
from recordings_synthetic.sound import play
from recordings_synthetic.stage import Stage, Straight, cut_program, cut_straight
from recordings_synthetic.truth import Truth

Singles = NDArray[np.float32]

QUIET_SHOP = Shop()
GANTRY = Gantry()
PLAIN_CUT = Straight()


@dataclass(frozen=True, eq=False)
class Recording:
    """
    An invented recording.

    Attributes
    ----------
    samples
        (n,) float32 in [-1, 1], mono.
    rate
        Samples a second.
    truth
        What was really so.
    """

    samples: Singles
    rate: int
    truth: Truth


def record(  # noqa: PLR0913 - what a caller may vary
    program: Program,
    bits: Mapping[int, Bit],
    *,
    seed: int,
    rate: int = 48000,
    fault: Fault | None = None,
    shop: Shop = QUIET_SHOP,
    machine: Gantry = GANTRY,
) -> Recording:
    """
    Cut a program in simulation and return what a microphone would have heard.

    Parameters
    ----------
    program
        What is cut.
    bits
        The bits by T number; every one that the program turns must be here.
    seed
        Where all chance comes from: the same arguments give the same samples.
    rate
        Samples a second.
    fault
        What goes wrong; ``None`` when all stays well. Up to the onset the samples are those of the same call
        without a fault.
    shop, machine
        The room with its microphone, and the machine.

    Returns
    -------
    Recording

    Raises
    ------
    ValueError
        If a bit is missing, or nothing is cut from the fault on.
    """
    setup = Setup(grid(rate), machine, seed)
    stage = cut_program(program, bits, setup)
    return _perform(stage, setup, partial(find_parts, program), fault, shop)


def steady(  # noqa: PLR0913 - as record
    bit: Bit,
    *,
    seed: int,
    cut: Straight = PLAIN_CUT,
    rate: int = 48000,
    fault: Fault | None = None,
    shop: Shop = QUIET_SHOP,
    machine: Gantry = GANTRY,
) -> Recording:
    """
    Return one plain cut without a program: silence, the spindle, a straight cut to the end.

    The arguments are those of ``record``. The truth has two moves, air and cut, of file line 0; the bit is
    T1.

    Examples
    --------
    >>> from analysis.cutting import Bit
    >>> heard = steady(Bit("any", 6.0, 2, 18000.0), seed=1, rate=8000, cut=Straight(seconds=6.0))
    >>> len(heard.samples), heard.truth.cutting.tolist()
    (48000, [False, True])
    """
    setup = Setup(grid(rate), machine, seed)
    return _perform(cut_straight(bit, cut, setup), setup, tuple, fault, shop)


def _perform(
    stage: Stage, setup: Setup, parts: Callable[[], tuple[Part, ...]], fault: Fault | None, shop: Shop
) -> Recording:
    nothing = well(len(stage.scene.command))
    met = stage.meets(stage.scene.path, nothing.lower)
    healthy = compose(stage.scene, met, nothing, setup)
    score, went = healthy, None
    if fault is not None:
        spell = spell_of(stage, healthy, fault)
        trouble = fault.unfold(setting_of(stage, healthy, met, spell, setup))
        score = compose(stage.scene, met_with(stage, met, trouble), trouble, setup)
        went = Went(fault, spell, healthy.load > 0.0, parts())
    samples = _heard(score, _gain(healthy, shop, setup.seed), shop, setup.seed)
    return Recording(samples, setup.grid.rate, truth_of(stage, score, went))


def _gain(healthy: Score, shop: Shop, seed: int) -> float:
    """
    Set the microphone's gain as a person would: by the loudest cut of a healthy run.

    Without any cut the spindle alone is taken, at a third of that level.
    """
    cuts = np.flatnonzero(healthy.load > 0.0)
    share = 1.0 if len(cuts) else 1.0 / 3.0
    if len(cuts):
        order = np.argsort(healthy.load[cuts], kind="stable")
        loudest = int(cuts[order[round(0.98 * (len(cuts) - 1))]])
    else:
        loudest = int(np.argmax(healthy.speed))
    sample = np.concatenate(list(play(still(healthy, loudest, 1.0), seed)))
    peak = float(np.quantile(np.abs(sample[len(sample) // 3 :]), 0.9998))
    return share * shop.microphone.level / max(peak, 1e-9)


def _heard(score: Score, gain: float, shop: Shop, seed: int) -> Singles:
    """Return what the microphone makes of machine and room."""
    count, rate = (len(score.turn) - 1) * score.grid.hop, score.grid.rate
    samples, ear, done = air_of(shop, count, rate, seed), Ear(shop.microphone, rate, seed), 0
    for block in play(score, seed):
        part = slice(done, done + len(block))
        samples[part] = ear(gain * block + samples[part])
        done += len(block)
    return samples
