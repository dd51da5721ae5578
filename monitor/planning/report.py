"""
The plan as one JSON object, for other programs: a contract.

Lengths are mm, feeds mm/min and times s, whatever the unit of the program; ``file`` is a line of the file,
and ``word`` its N-word or ``null``. What is not known, or was not worked out, is ``null``.

::

    program          its name
    lines            how many lines the file has
    inches           whether the program is in inches
    time_s           estimate for a usual small router, without bit changes and pauses
    cutting_s        how much of that it cuts
    measured         whether depth, width and baselines were worked out: not in very long programs
    material         as given with --material
    bit_changes, pauses
                     [{file, word, tool, at_s}], tool is the T number in the spindle afterwards
    bits             in the order of use:
      tool           T number, 0 where the program names none
      comment        what the program says beside it
      shelf          its name on the shelf
      diameter_mm, diameter_from, flutes, flutes_from
                     from "said" (an option), "shelf" or "assumed"
      program_rpm    the speeds that the program says
      speeds         those to be expected: [{rpm, spindle_hz, tooth_pass_hz}]
      speed_from     "said", "shelf", "program" or "unknown"
      cutting_s, air_s
      deepest_mm     below the top of the work
      feed_across_mm_min, feed_down_mm_min
                     {least, most}; down is straight down
      chip_load_mm   per tooth, at the programmed feed, the median by time
      chip_load_of   "across", or "down" where the bit only goes down
      chip_load_charts_mm
                     {least, most} by makers' charts, which differ by a factor of 2 to 3: advice only
      depth_mm, width_share, removal_cm3_min, most_removal_cm3_min
                     of most of the cutting, the median by time; the width as share of the diameter
      kinds_s        {down, slot, wide, narrow}
      baseline       where it is learned: {kind, from {file, word}, to {file, word}, begins_s, done_s}, s
                     after the bit's spindle starts, or its moves begin where the program never starts
                     it; kind is down or across
      no_baseline    why there is none
    parts            in the order in which they are begun:
      name, tools, from, to (file lines), box_mm [xmin, ymin, xmax, ymax] and area_mm2 (of the way of the
      bit's centre), time_s, deepest_mm,
      tabs           left standing along its outlines: [{begin_mm [x, y], end_mm, width_mm, height_mm,
                     from, to}], places of the bit's centre
    doubts           why the work's top may lie elsewhere than it is taken to: texts; empty mostly,
    warnings         what the reader did not understand or had to assume: [{file, column, word, text}],
                     file and column 0 when the whole program is meant
"""

import json
from typing import TypedDict

from analysis.contents import BitUse, Contents, Learned, PartUse, Stop
from analysis.contents.whole import line_of
from analysis.cutting import spindle_frequency, tooth_pass_frequency
from analysis.locate import KINDS
from analysis.program import Moves, Note, Tab


class Line(TypedDict):
    """A line of the file and its N-word."""

    file: int
    word: int | None


class StopReport(Line):
    """A bit change or a pause."""

    tool: int
    at_s: float


class Range(TypedDict):
    """From least to most."""

    least: float
    most: float


class SpeedReport(TypedDict):
    """A spindle speed and what is heard at it."""

    rpm: float
    spindle_hz: float
    tooth_pass_hz: float


BaselineReport = TypedDict(
    "BaselineReport", {"kind": str, "from": Line, "to": Line, "begins_s": float, "done_s": float}
)


class BitReport(TypedDict):
    """What a program does with one bit."""

    tool: int
    comment: str
    shelf: str | None
    diameter_mm: float
    diameter_from: str
    flutes: int
    flutes_from: str
    program_rpm: list[float]
    speeds: list[SpeedReport]
    speed_from: str
    cutting_s: float
    air_s: float
    deepest_mm: float
    feed_across_mm_min: Range | None
    feed_down_mm_min: Range | None
    chip_load_mm: float | None
    chip_load_of: str | None
    chip_load_charts_mm: Range | None
    depth_mm: float | None
    width_share: float | None
    removal_cm3_min: float | None
    most_removal_cm3_min: float | None
    kinds_s: dict[str, float] | None
    baseline: BaselineReport | None
    no_baseline: str | None


TabReport = TypedDict(
    "TabReport",
    {
        "begin_mm": list[float],
        "end_mm": list[float],
        "width_mm": float,
        "height_mm": float,
        "from": int,
        "to": int,
    },
)

PartReport = TypedDict(
    "PartReport",
    {
        "name": str,
        "tools": list[int],
        "from": int,
        "to": int,
        "box_mm": list[float],
        "area_mm2": float,
        "time_s": float,
        "deepest_mm": float,
        "tabs": list[TabReport],
    },
)


class Warned(TypedDict):
    """What the reader did not understand or had to assume."""

    file: int
    column: int
    word: str
    text: str


class Report(TypedDict):
    """The whole."""

    program: str
    lines: int
    inches: bool
    time_s: float
    cutting_s: float
    measured: bool
    material: str | None
    bit_changes: list[StopReport]
    pauses: list[StopReport]
    bits: list[BitReport]
    parts: list[PartReport]
    doubts: list[str]
    warnings: list[Warned]


_DECIMALS = 6


def written(contents: Contents) -> str:
    """Return the report as JSON in one line, its numbers without the noise of their last digits."""
    return json.dumps(_rounded(report(contents)), allow_nan=False)


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return round(value, _DECIMALS)
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list) else value


def report(contents: Contents) -> Report:
    """Return what is in a program, ready to be written as JSON."""
    program = contents.program
    return {
        "program": program.name,
        "lines": len(program.lines),
        "inches": contents.inches,
        "time_s": contents.seconds,
        "cutting_s": contents.cutting,
        "measured": contents.measured,
        "material": contents.material,
        "bit_changes": [_stop(stop) for stop in contents.stops if stop.what == "bit change"],
        "pauses": [_stop(stop) for stop in contents.stops if stop.what == "pause"],
        "bits": [_bit(bit, program.moves) for bit in contents.bits],
        "parts": [_part(use) for use in contents.parts],
        "doubts": list(program.doubts),
        "warnings": [_warned(note) for note in program.warnings],
    }


def _stop(stop: Stop) -> StopReport:
    return {"file": stop.line, "word": stop.word, "tool": stop.bit, "at_s": stop.at}


def _bit(bit: BitUse, moves: Moves) -> BitReport:
    chip, usual, found = bit.chip, bit.usual, bit.baseline
    return {
        "tool": bit.number,
        "comment": bit.comment,
        "shelf": bit.tool.shelf or None,
        "diameter_mm": bit.tool.bit.diameter,
        "diameter_from": bit.tool.diameter,
        "flutes": bit.tool.bit.flutes,
        "flutes_from": bit.tool.flutes,
        "program_rpm": list(bit.speeds),
        "speeds": [_speed(speed, bit.tool.bit.flutes) for speed in bit.expected],
        "speed_from": bit.tool.speed,
        "cutting_s": bit.cutting,
        "air_s": bit.air,
        "deepest_mm": bit.deepest,
        "feed_across_mm_min": _range(bit.across),
        "feed_down_mm_min": _range(bit.down),
        "chip_load_mm": chip.load if chip else None,
        "chip_load_of": ("across" if chip.across else "down") if chip else None,
        "chip_load_charts_mm": _range(chip.charted) if chip else None,
        "depth_mm": usual.depth if usual else None,
        "width_share": usual.width if usual else None,
        "removal_cm3_min": usual.rate if usual else None,
        "most_removal_cm3_min": usual.most if usual else None,
        "kinds_s": _kinds(bit) if found else None,
        "baseline": _baseline(found, moves) if isinstance(found, Learned) else None,
        "no_baseline": None if found is None or isinstance(found, Learned) else found.because,
    }


def _range(ends: tuple[float, float] | None) -> Range | None:
    return {"least": ends[0], "most": ends[1]} if ends else None


def _speed(speed: float, flutes: int) -> SpeedReport:
    return {
        "rpm": speed,
        "spindle_hz": spindle_frequency(speed),
        "tooth_pass_hz": tooth_pass_frequency(speed, flutes),
    }


def _kinds(bit: BitUse) -> dict[str, float]:
    spent = {spell.kind: spell.seconds for spell in bit.kinds}
    return {kind: spent.get(kind, 0.0) for kind in KINDS}


def _baseline(found: Learned, moves: Moves) -> BaselineReport:
    return {
        "kind": found.kind,
        "from": _line(moves, found.first),
        "to": _line(moves, found.last),
        "begins_s": found.begins,
        "done_s": found.done,
    }


def _line(moves: Moves, index: int) -> Line:
    file, word = line_of(moves, index)
    return {"file": file, "word": word}


def _part(use: PartUse) -> PartReport:
    part = use.part
    return {
        "name": part.name,
        "tools": list(use.bits),
        "from": part.first_line,
        "to": part.last_line,
        "box_mm": list(part.box),
        "area_mm2": part.area,
        "time_s": use.seconds,
        "deepest_mm": use.deepest,
        "tabs": [_tab(tab) for tab in part.tabs],
    }


def _tab(tab: Tab) -> TabReport:
    return {
        "begin_mm": list(tab.begin),
        "end_mm": list(tab.end),
        "width_mm": tab.width,
        "height_mm": tab.height,
        "from": tab.first_line,
        "to": tab.last_line,
    }


def _warned(note: Note) -> Warned:
    return {"file": note.line, "column": note.column, "word": note.word, "text": note.text}
