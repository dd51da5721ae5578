"""What a person at the machine reads of a program, before it is cut: plain lines of at most 100 columns."""

from collections import Counter
from collections.abc import Iterable, Iterator

from analysis.contents import MOST_MOVES, BitUse, Contents, Learned, PartUse, Stop, tool_name
from analysis.contents.whole import line_of
from analysis.cutting import spindle_frequency, tooth_pass_frequency
from analysis.events import ResumeLine
from analysis.program import Note, Tab
from analysis.program.notes import SAME
from monitor.output import printable
from monitor.planning.lengths import Lengths, number
from monitor.planning.lines import columns, field, sentence
from monitor.setup import not_as_shelved
from monitor.words import CAUTIONS, how_long, place

_LONGEST = 60  # signs of a name or a comment
_STOPS = 6  # so many are told one by one; --json has all
_PARTS = 24
_REMARKS = 12
_SPEEDS = 4

KINDS = {"down": "straight down", "slot": "slots", "wide": "wide cuts", "narrow": "narrow cuts"}
_FAMILIES = {"down": "straight down", "across": "cutting across"}
_FROM = {"said": "as you said", "shelf": "shelf", "program": "program", "assumed": "assumed", "unknown": ""}


def plan_text(contents: Contents) -> str:
    """Return what is in a program, in words."""
    lengths = Lengths(contents.inches)
    blocks = (
        _whole(contents),
        *(_bit(contents, bit, lengths) for bit in contents.bits),
        _parts(contents.parts, lengths),
        _remarks(contents, lengths),
        sentence(CAUTIONS[0]),
    )
    return "\n\n".join("\n".join(block) for block in blocks if block)


# --- the whole ------------------------------------------------------------------------------------------


def _whole(contents: Contents) -> list[str]:
    program = contents.program
    total, cutting = how_long(contents.seconds), how_long(contents.cutting)
    name = printable(program.name, _LONGEST)
    lines = sentence(f"{name}: {len(program.lines)} lines, about {total}, {cutting} of it cutting")
    lines += sentence(
        "Times are estimates for a usual small router; bit changes and pauses by hand come on top."
    )
    for what, plural in (("bit change", "Bit changes"), ("pause", "Pauses")):
        lines += field(plural, _stops([stop for stop in contents.stops if stop.what == what]), indent=0)
    if not contents.measured:
        count = f"the program has {len(program.moves)} moves, and more than {MOST_MOVES} take too long"
        lines += field("Left out", f"depth and width of the cuts, and baselines: {count}", indent=0)
    if not contents.bits:
        lines.append("It cuts nothing.")
    return lines


def _stops(stops: list[Stop]) -> str:
    if not stops:
        return "none"
    told = [_stop(stop) for stop in stops[:_STOPS]]
    if len(stops) > _STOPS:
        told.append(f"and {len(stops) - _STOPS} more up to {_stop(stops[-1])}")
    return f"{len(stops)}: {', '.join(told)}"


def _stop(stop: Stop) -> str:
    put_in = f"T{stop.bit} on " if stop.what == "bit change" else ""
    return f"{put_in}{place(ResumeLine(stop.line, stop.word))}"


# --- a bit ----------------------------------------------------------------------------------------------


def _bit(contents: Contents, bit: BitUse, lengths: Lengths) -> list[str]:
    comment = printable(bit.comment, _LONGEST)
    lines = [f"{tool_name(bit.number)}  {comment}".rstrip()]
    for name, said in (
        ("bit", _tool(bit, lengths)),
        ("speed", _speed(bit)),
        ("time", f"{how_long(bit.cutting)} cutting, {how_long(bit.air)} in the air"),
        ("cuts", _cuts(bit, lengths)),
        ("feed", _feed(bit, lengths)),
        ("chip load", _chip(contents, bit, lengths)),
        ("usual cut", _usual(bit, lengths)),
        ("baseline", _baseline(contents, bit)),
    ):
        lines += field(name, said) if said else []
    return lines


def _tool(bit: BitUse, lengths: Lengths) -> str:
    tool = bit.tool
    size, flutes = lengths.length(tool.bit.diameter), _flutes(tool.bit.flutes)
    name = f"{printable(tool.shelf, _LONGEST)}: " if tool.shelf else ""
    if tool.diameter == tool.flutes:
        return f"{name}{size}, {flutes} ({_FROM[tool.diameter]})"
    return f"{name}{size} ({_FROM[tool.diameter]}), {flutes} ({_FROM[tool.flutes]})"


def _flutes(count: int) -> str:
    return "1 flute" if count == 1 else f"{count} flutes"


def _speed(bit: BitUse) -> str:
    expected = bit.expected
    if not expected:
        return "not known: neither the program nor the shelf says it; say --rpm"
    flutes = bit.tool.bit.flutes
    told = [
        f"{speed:.0f} rpm: spindle {number(spindle_frequency(speed))} Hz, "
        f"tooth-pass {number(tooth_pass_frequency(speed, flutes))} Hz"
        for speed in expected[:_SPEEDS]
    ]
    if len(expected) > _SPEEDS:
        told.append(f"and {len(expected) - _SPEEDS} more speeds")
    source = "" if bit.tool.speed == "program" else f" ({_FROM[bit.tool.speed]}{_otherwise(bit)})"
    doubt = " (flutes assumed)" if bit.tool.flutes == "assumed" else ""
    return "; ".join(told) + source + doubt


def _otherwise(bit: BitUse) -> str:
    """Say what the program says, where that is something else."""
    if not bit.speeds or bit.speeds == bit.expected:
        return ""
    said = ", ".join(f"{speed:.0f}" for speed in bit.speeds[:_SPEEDS])
    return f"; the program says {said}"


def _cuts(bit: BitUse, lengths: Lengths) -> str:
    if not bit.cutting:
        return "nothing"
    ways = [f"{KINDS[spell.kind]} {how_long(spell.seconds)}" for spell in bit.kinds if spell.seconds >= 1.0]
    return "; ".join(filter(None, [", ".join(ways), f"deepest {lengths.length(bit.deepest)} below the top"]))


def _feed(bit: BitUse, lengths: Lengths) -> str:
    across = f"{lengths.feed(*bit.across)} across" if bit.across else ""
    down = f"{lengths.feed(*bit.down)} straight down" if bit.down else ""
    return ", ".join(filter(None, [across, down]))


def _chip(contents: Contents, bit: BitUse, lengths: Lengths) -> str:
    chip = bit.chip
    if chip is None:
        return ""
    told = f"{lengths.chip(chip.load)} a tooth{'' if chip.across else ', straight down'}"
    if chip.charted:
        return f"{told}; makers' charts for {contents.material}: {lengths.chip(*chip.charted)}"
    if contents.material and chip.across:
        return f"{told}; makers' charts say nothing for such a cut in {contents.material}"
    return told


def _usual(bit: BitUse, lengths: Lengths) -> str:
    usual = bit.usual
    if usual is None:
        return ""
    wide = f" deep, {100 * usual.width:.0f} % of the bit wide" if bit.across else " at a time"
    most = f", at most {lengths.rate(usual.most)}" if usual.most > 1.05 * usual.rate else ""
    return f"{lengths.length(usual.depth)}{wide}; takes {lengths.rate(usual.rate)}{most}"


def _baseline(contents: Contents, bit: BitUse) -> str:
    found = bit.baseline
    if found is None:
        return ""
    if not isinstance(found, Learned):
        return f"NONE: {found.because}"
    moves = contents.program.moves
    first, last = (place(ResumeLine(*line_of(moves, move))) for move in (found.first, found.last))
    lines = f"on {first}" if first == last else f"from {first} to {last}"
    after = "its spindle starts" if moves.spun.any() else "its moves begin"
    when = f"{found.begins:.0f} to {found.done:.0f} s after {after}"
    return f"learned {lines}, {when} ({_FAMILIES[found.kind]})"


# --- parts ----------------------------------------------------------------------------------------------


def _parts(parts: tuple[PartUse, ...], lengths: Lengths) -> list[str]:
    if not parts:
        return []
    unit = lengths.unit
    area = f"area {lengths.unit_of_area}"
    head = ("name", "bits", "lines", f"box {unit}", area, "time", f"deepest {unit}", "tabs")
    rows = [head, *(_part(use, lengths) for use in parts[:_PARTS])]
    lines = [f"Parts: {len(parts)} (box and area of the way that the bit's centre goes)"]
    lines += columns(rows, right=(4, 5, 6))
    if len(parts) > _PARTS:
        lines.append(f"  and {len(parts) - _PARTS} more; --json has all")
    return lines


def _part(use: PartUse, lengths: Lengths) -> tuple[str, ...]:
    part = use.part
    left, low, right, high = part.box
    return (
        part.name,
        _some([tool_name(bit) for bit in use.bits], 4),
        f"{part.first_line} to {part.last_line}",
        f"{lengths.plain(right - left)} x {lengths.plain(high - low)}",
        lengths.area(part.area) if part.area else "open",
        how_long(use.seconds),
        lengths.plain(use.deepest),
        _tabs(part.tabs, lengths),
    )


def _tabs(tabs: tuple[Tab, ...], lengths: Lengths) -> str:
    if not tabs:
        return "none"
    return f"{len(tabs)}, {lengths.plain(min(tab.height for tab in tabs))} high"


def _some(words: list[str], most: int) -> str:
    return (
        " ".join(words) if len(words) <= most else f"{' '.join(words[: most - 1])} +{len(words) - most + 1}"
    )


# --- remarks --------------------------------------------------------------------------------------------


def _remarks(contents: Contents, lengths: Lengths) -> list[str]:
    """Return what the reader did not understand, and what the charts say about the chips."""
    remarks = [
        *_read(contents),
        *_assumed(contents.bits),
        *_shelved(contents.bits),
        *_chips(contents, lengths),
    ]
    told = [line for remark in remarks[:_REMARKS] for line in field("-", remark, indent=2, width=2)]
    if len(remarks) > _REMARKS:
        told.append(f"  and {len(remarks) - _REMARKS} more; --json has all")
    return [f"Remarks: {len(remarks)}", *told] if told else []


def _read(contents: Contents) -> Iterator[str]:
    """Yield why the top is in doubt, and the reader's warnings, one that comes again once, and counted."""
    yield from contents.program.doubts
    first: dict[str, Note] = {}
    for note in contents.program.warnings:
        first.setdefault(note.text, note)
    count = Counter(note.text for note in contents.program.warnings)
    for text, note in first.items():
        where = f"line {note.line}: " if note.line else ""
        times = count[text] if count[text] < SAME else "many"
        again = f" ({times} times, first here)" if count[text] > 1 else ""
        yield f"{where}{printable(text, 300)}{again}"


def _assumed(bits: tuple[BitUse, ...]) -> Iterator[str]:
    """Say what to do about bits that were only assumed."""
    unknown = [bit for bit in bits if "assumed" in (bit.tool.diameter, bit.tool.flutes)]
    if unknown:
        names = ", ".join(tool_name(bit.number) for bit in unknown)
        numbers = "put them there with their T numbers, or " if any(bit.number for bit in unknown) else ""
        assumed = "its size is" if len(unknown) == 1 else "their sizes are"
        yield f"{names}: not on the shelf, so {assumed} assumed; {numbers}say --diameter and --flutes"


def _shelved(bits: tuple[BitUse, ...]) -> Iterator[str]:
    """Say which bits the program turns at another speed than the shelf says."""
    for bit in bits:
        if bit.tool.speed == "program" and (said := not_as_shelved(bit.tool.shelf_speed, bit.tool.bit)):
            yield f"{tool_name(bit.number)}: {said}"


def _chips(contents: Contents, lengths: Lengths) -> Iterator[str]:
    for bit in contents.bits:
        yield from _thin_or_thick(bit, lengths)
    if contents.material is None and any(bit.chip and bit.chip.across for bit in contents.bits):
        yield "say --material plywood, mdf, softwood or hardwood to see makers' usual chip loads"
    elif any(bit.chip and bit.chip.charted for bit in contents.bits):
        yield "makers' charts of chip load differ by a factor of 2 to 3: advice only"


def _thin_or_thick(bit: BitUse, lengths: Lengths) -> Iterable[str]:
    chip = bit.chip
    if chip is None or chip.charted is None or chip.charted[0] <= chip.load <= chip.charted[1]:
        return ()
    thin = chip.load < chip.charted[0]
    why = "thin chips rub" if thin else "thick chips load bit and collet"
    than = "thinner" if thin else "thicker"
    return (
        f"{tool_name(bit.number)}: {lengths.chip(chip.load)} a tooth is {than} than in the charts: {why}",
    )
