"""
Where to carry on after a bit has come loose, and the program that does.

The resume line is a line before which the bit stood above the work, at a known place, outside any arc and
any series of drilling cycles. The restart program puts back what was in force there, comes to that place
from above, and is the original to the letter from there on. It is read again before it is handed out, and
refused if it would not feed exactly what the original still had to feed.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.errors import ProgramError
from analysis.program.carriage import Origin
from analysis.program.cautions import Checks, cautions, comments, plain
from analysis.program.following import (
    EVERY,
    Following,
    bit_in_words,
    in_units,
    in_words,
    low_in_words,
    opening,
)
from analysis.program.header import Approach, header
from analysis.program.interpreter import Interpreter
from analysis.program.moves import Kind, Moves, Point, moves_from
from analysis.program.points import mixed_in_words, number, points_of
from analysis.program.program import Program, Units
from analysis.program.rewriting import same_feeds
from analysis.program.slashed import (
    AS_IN_THE_FIRST_RUN,
    refuse_what_hangs_on_the_switch,
    slashed_in_words,
)
from analysis.program.state import NO_MOTION, Modes, State
from analysis.program.stops import stops_since_change
from analysis.program.waits import spin_up_word, waits_in_words
from analysis.program.work import FEEDS, Level, cutting
from analysis.program.written import with_lines_of

FALLBACK_FEED = 300.0
"""mm/min, to come down with where the program has no feed of its own left."""

_RESUMABLE = (0, 10, NO_MOTION)

# So many stops of the original are named before the spindle is started again.
_MOST_STOPS = 5


@dataclass(frozen=True)
class Resume:
    """
    Where to carry on.

    Attributes
    ----------
    file_line
        Counted from 1; this line is run again.
    word
        Its N-word, if it has one.
    move
        Index of the first move at or after that line; the number of moves if there is none.
    position
        Where the bit stands then, mm.
    bit
        T number in the spindle; 0 before the first.
    """

    file_line: int
    word: int | None
    move: int
    position: Point
    bit: int


@dataclass(frozen=True)
class Restart:
    """
    A program that carries on.

    Attributes
    ----------
    program
        The original.
    opening
        How many of its first lines come first.
    new
        The lines that come next: what to check, and the way back to the work.
    begin
        How many lines of the original stand before those that follow.
    """

    program: Program
    opening: int
    new: tuple[str, ...]
    begin: int

    @property
    def text(self) -> str:
        """Its lines, each of which ends in a newline."""
        lines = self.program.lines
        return "\n".join((*lines[: self.opening], *self.new, *lines[self.begin :])) + "\n"

    @property
    def content(self) -> bytes:
        """Its file: the lines of the original as they are there, to the byte, and new ones that end alike."""
        return with_lines_of(self.program, self.opening, self.new, self.begin)


@dataclass(frozen=True)
class _Stand:
    """
    A line before which the bit stands above the work.

    `origins` counts the G10 before it, and `moved_later` are those after it. `unread` are the M words before
    it that nobody knows, and `system_named` is whether a coordinate system was named.
    """

    line: int
    move: int
    state: State
    origins: int
    unread: tuple[str, ...]
    system_named: bool
    moved_later: Sequence[Origin] = ()

    @property
    def origin_lost(self) -> int:
        """
        The line of the last G10 after it that may have moved the origin for good, or 0.

        Not so one that only lets Z read something where the bit stands, as after a probe for each bit: Z is
        touched off again anyway, and the G10 is run again.
        """
        modes = self.state.modes
        found_anew = (True, modes.system_number, None)
        lost = [each for each in self.moved_later if (each.z_alone, each.system, modes.length) != found_anew]
        return lost[-1].line if lost else 0

    @property
    def z_moved(self) -> int:
        """The line of the last G10 after it that may have set Z for another bit, or 0."""
        return self.moved_later[-1].line if self.moved_later else 0


def resume_at(program: Program, line: int) -> Resume:
    """
    Return where the bit last stood above the work, at or before a file line.

    Parameters
    ----------
    program
        As read.
    line
        File line, counted from 1, on which things went wrong.

    Returns
    -------
    Resume
        The program's start if nothing has been cut before that line.

    Raises
    ------
    ProgramError
        If there is no such line, it is never run, or the bit never stands above the work at a known place.
    """
    stand = _last_stand(program, line)
    return _at_the_start(program) if stand is None else _resume(program, stand.line, stand.move, stand.state)


def resume_before_move(program: Program, move: int) -> Resume:
    """
    Return where the bit last stood above the work before a move.

    A line of a subprogram is run several times and tells no moment; a move does.

    Parameters
    ----------
    program
        As read.
    move
        Index of the move in which things went wrong.

    Returns
    -------
    Resume
        At a line that is run once only, so that it tells where to carry on (`resume_at`, `carry_on`).
        The program's start if nothing has been cut before that move.

    Raises
    ------
    ProgramError
        If the bit never stands above the work at a known place.
    """
    line = int(program.moves.file_line[move])
    if not (np.diff(program.moves.file_line) < 0).any():
        return resume_at(program, line)
    follow = Following(program)
    run, search = follow.run, _Search(program)
    passed: set[int] = set()
    last: Resume | None = None
    for at in follow.steps():
        if len(run.carriage.rows) > move:
            break
        if search.stands(run) and at not in passed:
            last = _resume(program, at, len(run.carriage.rows), run.state())
        passed.add(at)
    if last is None and _has_cut(program, move):
        raise ProgramError(_no_stand(line, search))
    return last or _at_the_start(program)


def _at_the_start(program: Program) -> Resume:
    return Resume(1, program.word_of(1), 0, (0.0, 0.0, 0.0), 0)


def _resume(program: Program, line: int, move: int, state: State) -> Resume:
    return Resume(line, program.word_of(line), move, state.position, state.modes.cuts_with)


def carry_on(
    program: Program,
    line: int,
    *,
    safe_z: float | None = None,
    spin_up: float = 5.0,
    units: Units | None = None,
) -> Restart:
    """
    Return a program that carries on from where the bit last stood above the work.

    Parameters
    ----------
    program
        As read.
    line
        File line on which things went wrong.
    safe_z
        Height to cross at, mm, in the coordinates of the moves. By default the highest place that the
        program itself has named up to there in the coordinate system in force.
    spin_up
        s to wait after the spindle has been started.
    units
        "mm" or "inch": in which the program means its lengths, if it does not say so itself.

    Returns
    -------
    Restart
        With comments for the person at the machine (`analysis.program.cautions`).

    Raises
    ------
    ProgramError
        With the reason, if a restart can't be made safe.
    """
    check_spin_up(spin_up)
    program = in_units(program, units)
    stand = _last_stand(program, line)
    if stand is None:
        return _from_the_start(program)
    _refuse_unsafe(stand, line)
    refuse_what_hangs_on_the_switch(program, stand.line, stand.state)
    rest = program.lines[stand.line - 1 :]
    head = header(stand.state, _approach(program, stand, line, safe_z=safe_z, spin_up=spin_up), rest)
    _prove(program, stand, (*head, *rest))
    return Restart(program, 0, tuple(head), stand.line - 1)


def check_spin_up(seconds: float) -> None:
    """Raise ProgramError unless these are seconds to wait."""
    if not 0 <= seconds <= 600:
        raise ProgramError(f"spin_up={seconds} s is no time to wait; give 0 to 600 seconds")


def no_unit(line: int) -> str:
    """Return why nothing is written for a program without a unit."""
    return (
        f"the program does not say before line {line} whether it means millimetres or inches, and a guess "
        "would be wrong by 25.4 times: say which when it is written, --units mm or --units inch"
    )


def _approach(
    program: Program, stand: _Stand, line: int, *, safe_z: float | None, spin_up: float
) -> Approach:
    modes = stand.state.modes
    level = program.level(modes.system_number)
    safe = _safe_height(level.top, stand.state, safe_z)
    stops = stops_since_change(program, 0, stand.move, stand.state.parameters)
    cut = _next_cut(program, stand)
    word, points = program.word_of(stand.line), points_of(program.lines)
    named = "" if word is None else f", N{word}"
    checks = Checks(
        title=f"RESTART of {plain(program.name)} from file line {stand.line}{named}",
        bit=_bit_to_have_in(program, modes, stops),
        level=level,
        top_said=program.top_said is not None,
        safe_z=in_words(safe, modes),
        system_assumed=not stand.system_named,
        units_said=program.units or "" if "units" not in stand.state.stated else "",
        unread=stand.unread,
        waits=waits_in_words(program.moves, spin_up),
        more=(
            *low_in_words(safe, stand.state.highest, modes),
            *_z_in_words(program, stand),
            *_comes_later(program, modes, line),
            "parts that are cut through hang on tabs or lie loose: fasten them, or take them out.",
            *program.doubts,
            *slashed_in_words(program, AS_IN_THE_FIRST_RUN),
            *mixed_in_words(program.lines),
            *_breaks_off_in_words(program),
        ),
    )
    return Approach(
        checks=checks,
        line=stand.line,
        safe_z=safe,
        feed=_approach_feed(program.moves, stand.move),
        spin_up=number(spin_up_word(program.moves, spin_up), 3, point=points.waits),
        points=points,
        stops=_stops_in_words(stops),
        unspun=cut is not None and bool(program.moves.speed[cut] == 0),
        starts=cut is not None and bool(program.moves.spun[cut]),
        drills=bool((program.moves.kind[stand.move :] == Kind.PECK).any()),
        percent=opening(program) > 0,
    )


def _last_stand(program: Program, line: int) -> _Stand | None:
    """Return the last place to carry on from; ``None`` where nothing has been cut yet."""
    if not 1 <= line <= len(program.lines):
        raise ProgramError(f"line {line} is not in {program.name}, which has {len(program.lines)} lines")
    return _look_for_stand(program, line, _where_it_may_stand(program, line)) or _look_for_stand(
        program, line, EVERY
    )


def _where_it_may_stand(program: Program, line: int) -> range:
    """
    Return between which lines the bit was above the work for the last time before this one.

    To look there first, and elsewhere only if it was not safe there, saves most of the time in long programs.
    """
    moves = program.moves
    if (np.diff(moves.file_line) < 0).any():
        return EVERY
    before = int(np.searchsorted(moves.file_line, line))
    least = np.maximum(program.tops, program.clears)[:before]
    above = np.flatnonzero(moves.end[:before, 2] >= least)
    if not len(above):
        return range(line, line + 1)
    ends = int(above[-1]) + 1
    return range(
        int(moves.file_line[above[-1]]), int(moves.file_line[ends]) + 1 if ends < before else line + 1
    )


def _look_for_stand(program: Program, line: int, where: range) -> _Stand | None:
    """Return the last place to carry on from that lies on these lines; none where calls leave the order."""
    follow = Following(program)
    run, search = follow.run, _Search(program)
    last: _Stand | None = None
    for at in follow.steps(where):
        if search.stands(run) and at in where:
            rows, state = len(run.carriage.rows), run.state()
            named = "system" in run.stated
            last = _Stand(at, rows, state, len(run.carriage.origins), tuple(follow.unread), named)
        if at == line or (at > line and where is not EVERY):
            break
    else:
        # Far from where it is looked for closely, many lines are run at once, this one among them perhaps.
        if where is EVERY:
            raise ProgramError(f"line {line} of {program.name} is never run; give a line that is")
        return None
    if last is None and where is EVERY and _has_cut(program, len(run.carriage.rows)):
        raise ProgramError(_no_stand(line, search))
    stand = None if last is None else _with_what_follows(run, last)
    return stand if where is EVERY or not run.calls.called else None


# What a control has of them before the program states them, nobody knows.
_KNOWN_ONCE_STATED = frozenset({"path", "length"})


def _with_what_follows(run: Interpreter, stand: _Stand) -> _Stand:
    """Run to the end, for the run that was stopped may have got beyond the line; add what it left behind."""
    run.run()
    carriage = run.carriage
    used = stand.state.offset_used or carriage.offset_set
    stated = stand.state.stated | (run.stated - _KNOWN_ONCE_STATED)
    state = replace(stand.state, stated=stated, offset_used=used)
    return replace(stand, state=state, moved_later=carriage.origins[stand.origins :])


class _Search:
    """Looks, line by line, whether the bit stands where one may carry on, and keeps why it did not."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._doubt = self._low = ""

    def stands(self, run: Interpreter) -> bool:
        """Return whether one may carry on from where a run has come to."""
        level = self._program.level(run.modes.system_number)
        if _stands(run, level, self._program.measured_later):
            return True
        if run.carriage.at[2] > level.top:
            self._doubt = self._doubt or next(filter(None, run.carriage.doubt), "")
            self._low = self._low or _too_low(run, level)
        return False

    @property
    def why_not(self) -> str:
        """Why the bit did not stand so where it was first above the work; empty where it never was."""
        return self._low or self._doubt

    @property
    def way_out(self) -> str:
        """What to do: where nobody knows the place, no top that is said elsewhere helps."""
        if self._doubt and not self._low:
            return (
                "start the program over from where it began, or write G90 with X, Y and Z before it, where "
                "the bit stands above the work"
            )
        return "if the sheet's top is lower than it is taken to be, say where it is with --top"


def _stands(run: Interpreter, level: Level, measured_later: Collection[int]) -> bool:
    """
    Whether the bit stands above the work at a known place, with nothing half done.

    While the program has not said the length of a new bit, or has taken it off, Z is that of another.
    """
    carriage = run.carriage
    if carriage.bare or carriage.changed_at in measured_later:
        return False
    height = carriage.at[2]
    if carriage.in_doubt or height <= level.top + 1e-6 or height < level.clear:
        return False
    return run.calls.depth == 0 and run.modes.motion in _RESUMABLE


def _too_low(run: Interpreter, level: Level) -> str:
    """Return why a known place above the top, as estimated, may be in the work; empty where it is not."""
    carriage = run.carriage
    if carriage.in_doubt or carriage.bare or carriage.at[2] >= level.clear:
        return ""
    here, clear = in_words(carriage.at[2], run.modes), in_words(level.clear, run.modes)
    return f"Z {here} may be in the work, for the program goes across at Z {clear}"


def _has_cut(program: Program, moves: int) -> bool:
    return bool(cutting(program.moves, program.tops)[:moves].any())


def _no_stand(line: int, search: _Search) -> str:
    reason = f" ({search.why_not})" if search.why_not else ""
    return (
        f"no restart from line {line}: the bit is never known to stand above the work before it{reason}; "
        f"{search.way_out}"
    )


def _refuse_unsafe(stand: _Stand, line: int) -> None:
    if stand.state.offset_doubt:
        why = f"{stand.state.offset_doubt}; set the zero anew and start over"
        raise ProgramError(f"no restart from line {line}: {why}")
    if stand.origin_lost:
        why = f"G10 on line {stand.origin_lost} may have moved the origin already; set it back and start over"
        raise ProgramError(f"no restart from line {line}: {why}")
    if not stand.state.modes.units_stated:
        raise ProgramError(f"no restart from line {line}: {no_unit(stand.line)}")


def _safe_height(top: float, state: State, asked: float | None) -> float:
    lowest = max(state.position[2], top)
    if asked is None:
        return max(state.highest, lowest)
    if not lowest <= asked < 1e4:
        given, least = in_words(asked, state.modes), in_words(lowest, state.modes)
        raise ProgramError(
            f"a safe-z of {given} is no height to cross at: the place to carry on from is higher; "
            f"give {least} or more"
        )
    return asked


def _approach_feed(moves: Moves, begin: int) -> float:
    """Return the feed, mm/min, with which the program goes on; else the last it had."""
    for feeds in (moves.feed[begin:], moves.feed[:begin][::-1]):
        known = feeds[np.isfinite(feeds)]
        if len(known):
            return float(known[0])
    return FALLBACK_FEED


def _next_cut(program: Program, stand: _Stand) -> int | None:
    """Return the move that cuts next; ``None`` where none does."""
    left = np.flatnonzero(cutting(program.moves, program.tops)[stand.move :])
    return stand.move + int(left[0]) if len(left) else None


def _bit_to_have_in(program: Program, modes: Modes, stops: Sequence[str]) -> str:
    """Return which bit it was, as far as the program tells: at a stop a person may have put in another."""
    bit = bit_in_words(program, modes.cuts_with)
    return f"{bit} - or what was put in at the stop on {stops[-1]}" if stops else bit


def _comes_later(program: Program, modes: Modes, line: int) -> Iterator[str]:
    """Yield what to do about the bit with which things went wrong, where it is put in later."""
    before = np.flatnonzero(program.moves.file_line <= line)
    bit = int(program.moves.bit[before[-1]]) if len(before) else 0
    if bit not in (0, modes.cuts_with):
        yield (
            f"{bit_in_words(program, bit)} is put in further on: was it the one that came loose, grip it "
            "anew and measure its length offset anew as well, if it has one."
        )


def _z_in_words(program: Program, stand: _Stand) -> Iterator[str]:
    """Yield that Z is to be found for this bit, where the program may have found it for another since."""
    if stand.z_moved:
        yield (
            f"Z0 must be that of {bit_in_words(program, stand.state.modes.cuts_with)} again when you start: "
            f"G10 on file line {stand.z_moved} may have set it for another bit since."
        )


def _stops_in_words(stops: Sequence[str]) -> tuple[str, ...]:
    """Return what to say of the stops since the bit was changed: what was done at them must be so now."""
    if not stops:
        return ()
    more = len(stops) - _MOST_STOPS
    return (
        "the original stopped before this. What was done then must be so now",
        *((f"{more} stops before those named here",) if more > 0 else ()),
        *stops[-_MOST_STOPS:],
    )


def _breaks_off_in_words(program: Program) -> Iterator[str]:
    """Yield what comes of it where the program's end seems to be missing: it is missing here as well."""
    if program.breaks_off:
        yield (
            f"THE END SEEMS TO BE MISSING: {plain(program.name)} has no M2 or M30. The bit would stay where "
            "the last line leaves it, in the work perhaps, and turn on. Copy the program whole first, and "
            "have this written anew."
        )


def _from_the_start(program: Program) -> Restart:
    """Return the whole program, with what to check before it."""
    run = Following(program).run
    run.run()
    state = replace(run.state(), modes=Modes(), origin_line=0, offset_used=False)
    first_cut = int(np.argmax(cutting(program.moves, program.tops)))
    unsaid = (text for group, text in _START.items() if group not in state.stated)
    checks = Checks(
        title=f"it begins before the first cut of {plain(program.name)}: this is the whole program",
        bit=bit_in_words(program, int(program.moves.bit[0])),
        level=program.level(int(program.moves.system[first_cut])),
        top_said=program.top_said is not None,
        more=(
            *(f"the program never states {text}." for text in unsaid),
            *_breaks_off_in_words(program),
        ),
    )
    begin = opening(program)
    return Restart(program, begin, tuple(comments(cautions(state, checks))), begin)


_START = {"units": "its unit, G20 or G21", "system": "its coordinate system, G54 to G59.3"}


def _prove(program: Program, stand: _Stand, lines: Sequence[str]) -> None:
    """Read the restart program and refuse it unless it feeds exactly what was left to feed."""
    run = Interpreter(lines, skip_slashed=program.skip_slashed)
    body = len(lines) - (len(program.lines) - stand.line + 1) + 1
    begin = 0
    try:
        for number in run.steps():
            if number == body and run.calls.depth == 0 and not begin:
                begin = len(run.carriage.rows)
    except ProgramError as error:
        raise ProgramError(
            f"no restart from line {stand.line}: what is left can't run alone ({error})"
        ) from None
    again = moves_from(run.carriage.rows, begin)
    left = stand.move + np.flatnonzero(np.isin(program.moves.kind[stand.move :], FEEDS))
    if not same_feeds(program.moves, left, again, np.flatnonzero(np.isin(again.kind, FEEDS))):
        raise ProgramError(
            f"no restart from line {stand.line}: it would not cut the same; start the program over"
        )
