"""
Simulated recordings: the bit goes its way, meets the sheet, may come loose, and is heard.

Everything is INVENTED: computed from a seed, with the truth beside it. The sound of a slip is a hypothesis
(see ``faults``).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program import Part, Program, find_parts
from recordings_synthetic.faults import Slip, Spell, loosen, tight
from recordings_synthetic.machine import Gantry
from recordings_synthetic.room import Ear, Shop, air_of
from recordings_synthetic.score import Score, Setup, compose, grid, still
from recordings_synthetic.sound import play
from recordings_synthetic.stage import Stage, Straight, cut_program, cut_straight
from recordings_synthetic.truth import Truth, Turning

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
    slip: Slip | None = None,
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
    slip
        How a bit comes loose; ``None`` when all stays well. Up to the onset the samples are those of the
        same call without a slip.
    shop, machine
        The room with its microphone, and the machine.

    Returns
    -------
    Recording

    Raises
    ------
    ValueError
        If a bit is missing, or nothing is cut from the slip on.
    """
    setup = Setup(grid(rate), machine, seed)
    stage = cut_program(program, bits, setup)
    return _perform(stage, setup, find_parts(program), slip, shop)


def steady(  # noqa: PLR0913 - as record
    bit: Bit,
    *,
    seed: int,
    cut: Straight = PLAIN_CUT,
    rate: int = 48000,
    slip: Slip | None = None,
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
    return _perform(cut_straight(bit, cut, setup), setup, (), slip, shop)


def _perform(stage: Stage, setup: Setup, parts: tuple[Part, ...], slip: Slip | None, shop: Shop) -> Recording:
    count, step = len(stage.scene.command), setup.grid.step
    well = stage.meets(np.zeros(count))
    healthy = compose(stage.scene, well, tight(count), setup)
    score, spell = healthy, None
    if slip is not None:
        spell = _spell(stage, healthy, slip)
        loose = loosen(slip, spell, count, step, setup.seed)
        met = well.until(spell.first, stage.meets(loose.pulled))
        score = compose(stage.scene, met, loose, setup)
    samples = _heard(score, _gain(healthy, shop, setup.seed), shop, setup.seed)
    return Recording(samples, setup.grid.rate, _truth(stage, score, spell, parts))


def _spell(stage: Stage, healthy: Score, slip: Slip) -> Spell:
    """Return when a slip is heard: from the first cutting after it until its bit is taken out."""
    if slip.at_line is not None:
        asked = stage.first_tick(slip.at_line)
    else:
        asked = math.ceil((slip.at or 0.0) / healthy.grid.step)
    cutting = np.flatnonzero(healthy.load[asked:] > 0.0)
    if not len(cutting):
        raise ValueError(f"{slip}: nothing is cut from there on")
    first = asked + int(cutting[0])
    stopped = np.flatnonzero(stage.scene.out[first:])
    return Spell(first, first + int(stopped[0]) if len(stopped) else len(healthy.load))


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


def _truth(stage: Stage, score: Score, spell: Spell | None, parts: tuple[Part, ...]) -> Truth:
    move, cuts = stage.scene.path.move, score.load > 0.0
    count = np.bincount(move[move >= 0], minlength=len(stage.begin))
    cutting = np.bincount(move[cuts & (move >= 0)], minlength=len(stage.begin)) > 0.1 * count
    onset = None if spell is None else spell.first * score.grid.step
    return Truth(
        rate=score.grid.rate,
        begin=stage.begin,
        end=stage.end,
        file_line=stage.file_line,
        word=stage.word,
        cutting=cutting,
        spindle=_turnings(stage, score),
        onset=onset,
        onset_line=None if spell is None else int(stage.file_line[move[spell.first]]),
        spoiled=() if spell is None else _spoiled(parts, move, cuts, spell),
    )


def _spoiled(
    parts: tuple[Part, ...], move: NDArray[np.intp], cuts: NDArray[np.bool_], spell: Spell
) -> tuple[str, ...]:
    """Return the names of the parts that were cut while the bit was loose."""
    during = slice(spell.first, spell.last)
    touched = np.unique(move[during][cuts[during]])
    return tuple(part.name for part in parts if np.isin(part.moves, touched).any())


def _turnings(stage: Stage, score: Score) -> tuple[Turning, ...]:
    """Return when the spindle was on; its speed is the median of what it has after three seconds."""
    command, bit, step = stage.scene.command, stage.scene.bit, score.grid.step
    edges = np.flatnonzero((np.diff(command) != 0) | (np.diff(bit) != 0)) + 1
    found = []
    for first, last in zip([0, *edges], [*edges, len(command)], strict=True):
        if command[first] > 0.0:
            settled = min(first + round(3.0 / step), last - 1)
            speed = 60.0 * float(np.median(score.speed[settled:last]))
            found.append(Turning(float(first * step), float(last * step), speed, int(bit[first])))
    return tuple(found)
