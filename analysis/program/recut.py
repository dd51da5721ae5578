"""
Some of a program's parts cut again, or cut alone.

The program that is written holds the chosen parts' moves and no others, in the original's order, each run of
cutting entered from above. It is written anew from the moves, in absolute words, without cycles, offsets or
calls, rather than put together from the original's lines: a line may hold holes of several parts or leave
half of what it means to lines before it, and a word left over in a seam would move the bit. It is read again
before it is handed out, and refused unless it feeds exactly the chosen moves.

Two things are fed that the original does not feed: the way down to where a run of cutting begins, and what
the original traverses below the top of the work (back into a hole between pecks, say).
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ProgramError
from analysis.program.cautions import Checks, cautions, plain
from analysis.program.chains import Chain, chains
from analysis.program.following import bit_in_words, in_units, in_words, low_in_words, opening
from analysis.program.hazards import Crossing, crossings, hazards, in_frames, listed
from analysis.program.moves import Kind
from analysis.program.parts import Part, find_parts
from analysis.program.points import number, points_of
from analysis.program.program import Program, Units
from analysis.program.restart import check_spin_up, no_unit
from analysis.program.rewriting import Lines, feeds_the_same
from analysis.program.seams import changes, opening_words, seam
from analysis.program.sheets import sheets_apart
from analysis.program.slashed import (
    ALIKE_EITHER_WAY,
    refuse_parts_that_hang_on_the_switch,
    slashed_in_words,
)
from analysis.program.state import NO_MOTION, PER_MINUTE, Modes, State
from analysis.program.stops import stops_since_change
from analysis.program.tracks import Tracks, tracks
from analysis.program.waits import spin_up_word, waits_in_words

_NOT_ALONE = {
    840: "tapping (G84) can't be written out; cut it with the whole program",
    860: "boring with a stop (G86) can't be written out; cut it with the whole program",
    880: "boring by hand (G88) can't be written out; cut it with the whole program",
}


@dataclass(frozen=True)
class _Run:
    """A run of cutting that is wanted: its part, its first and last move, the part that is cut before it."""

    part: Part
    first: int
    last: int
    follows: str


@dataclass(frozen=True)
class _Job:
    """All that is known of what is to be cut."""

    program: Program
    parts: tuple[Part, ...]
    wanted: tuple[Part, ...]
    runs: tuple[_Run, ...]
    pieces: list[Chain]
    crossed: list[Crossing]
    tracks: Tracks

    @property
    def top(self) -> float:
        """Z of the work's top where these parts are cut, mm: all of them in one coordinate system."""
        return float(self.program.tops[self.runs[0].first])

    @property
    def highest(self) -> float:
        """The highest Z, mm, that the program is known to go to where these parts are cut."""
        moves = self.program.moves
        sure = (moves.system == moves.system[self.runs[0].first]) & moves.z_known
        sure[list(self.tracks.unsure)] = False
        return float(moves.end[sure, 2].max(initial=-np.inf))


def recut_program(
    program: Program,
    parts_wanted: Collection[str],
    *,
    safe_z: float | None = None,
    spin_up: float = 5.0,
    units: Units | None = None,
) -> str:
    """
    Return the text of a program that cuts some of the parts and nothing else.

    Parameters
    ----------
    program
        As read.
    parts_wanted
        Names of parts (`Part.name`).
    safe_z
        Height to cross at, mm. By default the highest place that the program itself goes to.
    spin_up
        s to wait after the spindle has been started.
    units
        "mm" or "inch": in which the program means its lengths, if it does not say so itself.

    Returns
    -------
    str
        With comments for the person at the machine (`analysis.program.cautions`); lines end in a newline.

    Raises
    ------
    ProgramError
        With the reason, if there is no such part or it can't be made safe.
    """
    check_spin_up(spin_up)
    program = in_units(program, units)
    job = _job(program, parts_wanted)
    _refuse_unsafe(job)
    lines = _written(job, _safe_height(job, safe_z), spin_up)
    chosen = [i for run in job.runs for i in range(run.first, run.last + 1)]
    if not feeds_the_same(lines, program, job.top, chosen, [job.tracks.at(i).cuts_with for i in chosen]):
        raise ProgramError("no recut: it would not cut the same; cut the whole program")
    return "\n".join(lines.text) + "\n"


def all_parts_but(program: Program, names: Collection[str]) -> tuple[str, ...]:
    """
    Return the names of all parts but these.

    Raises
    ------
    ProgramError
        If there is no such part.
    """
    known = [part.name for part in find_parts(program)]
    _check_names(program, names, known)
    return tuple(name for name in known if name not in names)


def _job(program: Program, names: Collection[str]) -> _Job:
    parts, apart = find_parts(program), sheets_apart(program)
    pieces = chains(apart)
    known = [part.name for part in parts]
    _check_names(program, names, known)
    if not names:
        raise ProgramError(f"no part of {program.name} is left to cut: choose at least one")
    part_at = {int(move): part for part in parts for move in part.moves}
    of = [part_at[int(chain.moves[0])] for chain in pieces]
    firsts = _lead_ins(program, pieces)
    runs = [
        _Run(of[i], firsts[i], int(chain.moves[-1]), of[i - 1].name if i else "")
        for i, chain in enumerate(pieces)
        if of[i].name in names
    ]
    wanted = tuple(part for part in parts if part.name in names)
    crossed = crossings(apart, parts, pieces)
    return _Job(program, parts, wanted, tuple(runs), pieces, crossed, tracks(program))


def _lead_ins(program: Program, pieces: Sequence[Chain]) -> list[int]:
    """Return where the bit begins to go down at feed into each chain, be it above the top as estimated."""
    moves = program.moves
    down = np.isfinite(moves.feed) & (moves.start[:, 2] > moves.end[:, 2])
    found = []
    for chain in pieces:
        first = int(chain.moves[0])
        while first and down[first - 1] and moves.system[first - 1] == moves.system[first]:
            first -= 1
        found.append(first)
    return found


def _check_names(program: Program, names: Collection[str], known: Sequence[str]) -> None:
    unknown = [name for name in dict.fromkeys(names) if name not in known]
    if unknown:
        there = f"{known[0]} to {known[-1]}" if len(known) > 1 else known[0] if known else "none"
        raise ProgramError(f"there is no {', '.join(unknown)} in {program.name}: its parts are {there}")


def _refuse_unsafe(job: _Job) -> None:
    """Raise ProgramError with the reason why these parts can't be cut alone."""
    names = {part.name for part in job.wanted}
    for frame in job.wanted:
        left = [part for part in job.parts if frame.holds(part) and part.name not in names]
        if left:
            raise ProgramError(
                f"no recut: {frame.name} goes around {listed(left)}, which may be its holes; choose them "
                f"too, or leave out {frame.name}"
            )
    for crossing in job.crossed:
        if crossing.around and (crossing.part in names) != (crossing.over in names):
            raise ProgramError(
                f"no recut: {crossing.part} is cut in one go with the outline of {crossing.over}; "
                "choose both or neither"
            )
    _refuse_systems(job)
    _refuse_sheets(job)
    refuse_parts_that_hang_on_the_switch(job.program, job.wanted)
    for run in job.runs:
        why = next(_reasons(job, run), "")
        if why:
            line = int(job.program.moves.file_line[run.first])
            raise ProgramError(f"no recut of {run.part.name}: {why} (file line {line})")


def _refuse_systems(job: _Job) -> None:
    systems = {int(system) for part in job.wanted for system in job.program.moves.system[part.moves]}
    if len(systems) > 1:
        names = ", ".join(part.name for part in job.wanted)
        raise ProgramError(
            f"no recut: {names} are cut in several coordinate systems, whose heights may differ; "
            "write a recut for those of each"
        )


def _refuse_sheets(job: _Job) -> None:
    sheets = job.program.sheets
    if len(sheets) and len({int(sheets[part.moves[0]]) for part in job.wanted}) > 1:
        names = ", ".join(part.name for part in job.wanted)
        raise ProgramError(
            f"no recut: {names} are cut from several sheets, one after the other at the same place; "
            "write a recut for those of each"
        )


def _reasons(job: _Job, run: _Run) -> Iterator[str]:
    """Yield why a run can't be cut alone."""
    moves, known = job.program.moves, job.tracks
    inside = range(run.first, run.last + 1)
    modes = known.at(run.first)
    if not modes.units_stated:
        yield no_unit(int(moves.file_line[run.first]))
    if run.first >= known.zero_lost:
        yield f"{known.end.offset_doubt}; set the zero anew and cut it with the whole program"
    if run.first < known.zero_moved:
        yield f"G10 on line {known.end.origin_line} moves the origin after it; cut it with the whole program"
    yield from (f"where it is cut is not known, {known.unsure[i]}" for i in inside if i in known.unsure)
    cycles = {known.at(i).motion for i in inside if moves.kind[i] == Kind.PECK}
    yield from (
        f"{text}; cut it with the whole program" for code, text in _NOT_ALONE.items() if code in cycles
    )
    if any(known.at(i).spindle != modes.spindle for i in inside):
        yield "the spindle is switched while the bit is in the cut"
    linked = run.first and (np.abs(moves.end - moves.start)[run.first - 1, :2] > 1e-6).any()
    below = moves.start[run.first, 2] < job.top - 1e-6
    if linked and below and run.follows not in {part.name for part in job.wanted}:
        yield f"it begins below the top, where {run.follows or 'nothing'} has made room"


def _safe_height(job: _Job, asked: float | None) -> float:
    """Return the height to cross at."""
    moves, modes = job.program.moves, job.tracks.at(job.runs[0].first)
    lowest_safe = max(job.top, *(float(moves.start[run.first, 2]) for run in job.runs))
    safe = job.highest if asked is None else asked
    if lowest_safe <= safe < 1e4 and safe > job.top + 1e-6:
        return safe
    limit = in_words(lowest_safe, modes)
    least = f"{limit} or more" if lowest_safe > job.top + 1e-6 else f"more than {limit}"
    if asked is None:
        raise ProgramError(
            "no recut: the program does not tell at which height it goes across here (up by G28 or G53?); "
            f"say one with --safe-z, {least}"
        )
    raise ProgramError(f"a safe-z of {in_words(asked, modes)} is no height to cross at; give {least}")


def _written(job: _Job, safe: float, spin_up: float) -> Lines:
    """Write the recut."""
    program, known = job.program, job.tracks
    first = known.at(job.runs[0].first)
    points = points_of(program.lines)
    lines = Lines(program.moves, first.scale, job.top, points)
    percent = opening(program) > 0
    lines.say(*["%"] * percent)
    lines.remark(cautions(_state(job, first), _checks(job, safe, spin_up)))
    wait = number(spin_up_word(program.moves, spin_up), 3, point=points.waits)
    before: Modes | None = None
    last = -1
    for run in job.runs:
        state, stops = _state(job, known.at(run.first)), _stops(job, last, run.first)
        if before is None:
            lines.say(*opening_words(state, safe_z=safe, spin_up=wait, stops=stops))
        else:
            lines.say(*seam(before, state, safe_z=safe, spin_up=wait, stops=stops))
        _cut(job, run, lines, safe)
        lines.up(safe)
        before, last = known.at(run.last), run.last
    lines.say("M5", "M9", "M30", *["%"] * percent)
    return lines


def _state(job: _Job, modes: Modes) -> State:
    """Return what is in force for a run, as it is written here."""
    as_written: Modes = modes._replace(
        motion=NO_MOTION,
        plane=170,
        units=job.tracks.at(job.runs[0].first).units,
        distance=900,
        arc_distance=911,
        feed_mode=PER_MINUTE,
        selected=modes.cuts_with,
        cycle=None,
    )
    # What a control has of these before the program states them, nobody knows.
    unsaid = {"path"} if modes.path is None else set()
    if modes.length is None and not (modes.bit_changed or modes.length_since_change):
        unsaid.add("length")
    end = job.tracks.end
    return replace(end, modes=as_written, stated=end.stated - unsaid)


def _checks(job: _Job, safe: float, spin_up: float) -> Checks:
    """Return what a person is to check."""
    program, known = job.program, job.tracks
    modes = known.at(job.runs[0].first)

    def written(length: float) -> str:
        return in_words(length, modes)

    bits = dict.fromkeys(known.at(run.first).cuts_with for run in job.runs)
    named = [bit_in_words(program, bit) for bit in bits]
    more = [*low_in_words(safe, job.highest, modes), *(_place(part, written) for part in job.wanted)]
    if named[1:]:
        more.append(
            f"bits are changed at Z {written(safe)}, above where the last cut ends: choose a safe-z at which "
            "a hand fits. After each change find Z again as in the first run."
        )
    return Checks(
        title=f"RECUT of {plain(program.name)}: {listed(job.wanted)}",
        bit=" - then ".join(named),
        level=program.level(int(program.moves.system[job.runs[0].first])),
        top_said=program.top_said is not None,
        safe_z=written(safe),
        system_assumed="system" not in known.end.stated,
        units_said=program.units or "" if "units" not in known.end.stated else "",
        unread=tuple(text for rows, text in known.unread if rows <= job.runs[-1].first),
        waits=waits_in_words(program.moves, spin_up),
        more=(
            *more,
            *program.doubts,
            *in_frames(job.wanted, job.parts),
            *hazards(program, job.wanted, job.pieces, job.crossed, written),
            *slashed_in_words(program, ALIKE_EITHER_WAY),
        ),
    )


def _place(part: Part, written: Callable[[float], str]) -> str:
    """Return where a part lies."""
    xmin, ymin, xmax, ymax = (written(value) for value in part.box)
    return f"{part.name} is cut between X {xmin} and {xmax}, Y {ymin} and {ymax}."


def _stops(job: _Job, after: int, before: int) -> list[str]:
    """Return what the original stops for between two moves, since the last change of bit."""
    found = stops_since_change(job.program, after + 1, before, job.tracks.end.parameters)
    return [f"the original stops here, {stop}" for stop in found]


def _cut(job: _Job, run: _Run, lines: Lines, safe: float) -> None:
    """Write one run, entered from above."""
    moves, known = job.program.moves, job.tracks
    begin, end = (int(moves.file_line[i]) for i in (run.first, run.last))
    where = f"file line {begin}" if begin == end else f"file lines {begin} to {end}"
    lines.remark([f"{run.part.name}, {where}"])
    feeds = moves.feed[run.first : run.last + 1]
    ahead = _next_known(feeds)
    lines.enter(run.first, safe, ahead[0])
    for i in range(run.first, run.last + 1):
        if i > run.first:
            lines.say(*changes(known.at(i - 1), known.at(i)))
        lines.move(i, ahead[i - run.first])
    lines.back_to_xy()


def _next_known(feeds: NDArray[np.float64]) -> list[float]:
    """Return for each move its feed, or else the next one's; mm/min."""
    known = np.flatnonzero(np.isfinite(feeds))
    at = np.minimum(np.searchsorted(known, np.arange(len(feeds))), len(known) - 1)
    return [float(feed) for feed in feeds[known[at]]]
