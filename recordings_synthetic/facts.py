"""The truth of a recording, from what was played."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.program import Part
from recordings_synthetic.faults import Spell
from recordings_synthetic.mishap import Went
from recordings_synthetic.score import Score
from recordings_synthetic.stage import Stage
from recordings_synthetic.truth import Truth, Turning


def truth_of(stage: Stage, score: Score, went: Went | None) -> Truth:
    """Return what was really so."""
    move, cuts = stage.scene.path.move, score.load > 0.0
    count = np.bincount(move[move >= 0], minlength=len(stage.begin))
    cutting = np.bincount(move[cuts & (move >= 0)], minlength=len(stage.begin)) > 0.1 * count
    truth = Truth(
        rate=score.grid.rate,
        begin=stage.begin,
        end=stage.end,
        file_line=stage.file_line,
        word=stage.word,
        cutting=cutting,
        spindle=_turnings(stage, score),
        cause=None,
        onset=None,
        onset_line=None,
        half=None,
        over=None,
        spoiled=(),
    )
    return truth if went is None else _with_fault(truth, stage, score, went)


def _with_fault(truth: Truth, stage: Stage, score: Score, went: Went) -> Truth:
    """Return the truth with what went wrong."""
    spell, step, grown = went.spell, score.grid.step, score.trouble.grown
    cuts = went.cuts | (score.load > 0.0)
    onset = score.trouble.onset if grown.any() else spell.first
    most = float(grown[went.cuts].max())
    halves = np.flatnonzero(went.cuts & (grown > 0.0) & (grown >= most / 2.0))
    half = int(halves[0]) if len(halves) else onset
    return replace(
        truth,
        cause=went.fault.cause,
        onset=onset * step,
        onset_line=int(stage.file_line[stage.scene.path.move[onset]]),
        half=half * step,
        over=min(spell.last, len(grown) - 1) * step,
        spoiled=_spoiled(went.parts, stage.scene.path.move, cuts, spell),
    )


def _spoiled(
    parts: tuple[Part, ...], move: NDArray[np.intp], cuts: NDArray[np.bool_], spell: Spell
) -> tuple[str, ...]:
    """Return the names of the parts that were cut while something was wrong."""
    during = slice(spell.first, spell.last)
    touched = np.unique(move[during][cuts[during]])
    return tuple(part.name for part in parts if np.isin(part.cut_by, touched).any())


def _turnings(stage: Stage, score: Score) -> tuple[Turning, ...]:
    """Return when the spindle was on; its speed is the median of what it has after three seconds."""
    command = np.where(score.trouble.speed > 0.0, stage.scene.command, 0.0)
    bit, step = stage.scene.bit, score.grid.step
    edges = np.flatnonzero((np.diff(command) != 0) | (np.diff(bit) != 0)) + 1
    found = []
    for first, last in zip([0, *edges], [*edges, len(command)], strict=True):
        if command[first] > 0.0:
            settled = min(first + round(3.0 / step), last - 1)
            speed = 60.0 * float(np.median(score.speed[settled:last]))
            found.append(Turning(float(first * step), float(last * step), speed, int(bit[first])))
    return tuple(found)
