"""Programs made up for property tests: safe ones, of the kind that small-shop software and hands write."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from hypothesis import strategies as st

SAFE = 6.0

Draw = Callable[..., object]


@dataclass
class Writer:
    """Writes words for places, in whatever units, distance mode and offset are in force."""

    draw: Callable[[st.SearchStrategy], object]
    lines: list[str] = field(default_factory=list)
    at: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    shift: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    inch: bool = False
    relative: bool = False
    inverse: bool = False
    known: bool = False

    def say(self, text: str) -> None:
        """Write a line, sometimes with a line number or a comment."""
        prefix = self.draw(st.sampled_from(["", "", f"N{10 * len(self.lines)} "]))
        suffix = self.draw(st.sampled_from(["", "", " (a note)", " ; a note"]))
        self.lines.append(f"{prefix}{text}{suffix}")

    def mm(self, value: float) -> str:
        """Write a length in the unit in force."""
        return f"{value / 25.4:.6f}" if self.inch else f"{value:.4f}"

    def to(self, motion: str, extra: str = "", **place: float) -> None:
        """Go to a place given in mm without offset."""
        words = []
        for axis, value in place.items():
            i = "XYZ".index(axis)
            written = value - self.at[i] if self.relative else value - self.shift[i]
            words.append(f"{axis}{self.mm(written)}")
            self.at[i] = value
        self.say(" ".join(filter(None, [motion, *words, extra, self.feed() if motion != "G0" else ""])))

    def feed(self) -> str:
        """Write the feed, when one is due."""
        if self.inverse:
            return f"F{self.draw(st.integers(2, 40))}"
        return self.draw(st.sampled_from(["", f"F{self.mm(self.draw(st.integers(200, 3000)))}"]))


def number(draw: Draw, low: int, high: int) -> float:
    """Draw a length, mm, in steps of a quarter."""
    return draw(st.integers(low * 4, high * 4)) / 4


@st.composite
def programs(draw: Draw) -> str:
    """Draw a program that states all its modes, cuts below Z 0 and traverses above it."""
    w = Writer(draw)
    w.inch = draw(st.booleans())
    w.say("G20" if w.inch else "G21")
    w.say(f"G90 G40 G80 G94 {draw(st.sampled_from(['G54', 'G55', 'G59.1']))} G17")
    w.say(f"{draw(st.sampled_from(['G61', 'G64']))} {draw(st.sampled_from(['G98', 'G99']))} M48")
    bit(w)
    w.to("G0", Z=SAFE)
    w.to("G0", X=number(draw, 0, 60), Y=number(draw, 0, 60))
    w.say(f"F{w.mm(600)}")
    for number_of in range(draw(st.integers(1, 5))):
        draw(st.just(profile) if not number_of else st.sampled_from(FEATURES))(w)
        w.to("G0", Z=SAFE + draw(st.integers(0, 2)))
    w.say(draw(st.sampled_from(["M2", "M30"])))
    return "\n".join(w.lines) + "\n"


def bit(w: Writer) -> None:
    """Change the bit and start the spindle."""
    change = w.draw(st.integers(1, 3))
    absolutely(w)
    if w.lines[3:]:
        w.to("G0", Z=SAFE + 3)
    w.say(f"M5 M9 T{change} M6")
    w.say(w.draw(st.sampled_from([f"G43 H{change}", "G49"])))
    w.to("G0", Z=SAFE + 1)
    w.say(f"S{w.draw(st.sampled_from([9000, 18000]))} {w.draw(st.sampled_from(['M3', 'M4', 'M3 M8']))}")
    w.say("G4 P2")


def absolutely(w: Writer) -> None:
    """Put G90 and G94 back in force."""
    if w.relative:
        w.say("G90")
        w.relative = False
    if w.inverse:
        w.say(f"G94 F{w.mm(500)}")
        w.inverse = False


def profile(w: Writer) -> None:
    """Go in and cut lines and arcs, in G90 or G91, at feed per minute or in inverse time."""
    absolutely(w)
    w.to("G0", X=number(w.draw, 0, 60), Y=number(w.draw, 0, 60))
    w.relative = w.draw(st.booleans())
    if w.relative:
        w.say("G91")
    w.inverse = w.draw(st.integers(0, 2)) == 2
    if w.inverse:
        w.say("G93")
    w.to("G1", Z=-2.25 - number(w.draw, 0, 3))
    for _ in range(w.draw(st.integers(1, 4))):
        w.draw(st.sampled_from([line, arc, radius_arc, tab]))(w)


def line(w: Writer) -> None:
    """Feed across, with or without the motion word, which then is still in force."""
    motion = "G1"
    w.to(motion, X=number(w.draw, 0, 60) + 0.1, Y=number(w.draw, 0, 60))
    if w.draw(st.booleans()):
        w.to("", X=number(w.draw, 0, 60) + 0.2)


def arc(w: Writer) -> None:
    """Cut an arc or a helix by its centre, at times a whole circle."""
    radius, begin = number(w.draw, 1, 8), w.draw(st.integers(0, 7)) * math.pi / 4
    turn = w.draw(st.sampled_from([math.pi / 2, math.pi, 1.9 * math.pi, 2 * math.pi]))
    clockwise = w.draw(st.booleans())
    centre = [w.at[0] - radius * math.cos(begin), w.at[1] - radius * math.sin(begin)]
    last = begin - turn if clockwise else begin + turn
    end = {"X": centre[0] + radius * math.cos(last), "Y": centre[1] + radius * math.sin(last)}
    if w.draw(st.booleans()):
        end["Z"] = w.at[2] - 0.5
    words = f"I{w.mm(centre[0] - w.at[0])} J{w.mm(centre[1] - w.at[1])}"
    if turn == 2 * math.pi:
        end["X"], end["Y"] = w.at[0], w.at[1]
    w.to("G2" if clockwise else "G3", words, **end)


def radius_arc(w: Writer) -> None:
    """Cut an arc by its radius, at times of more than half a turn."""
    across = number(w.draw, 1, 10)
    radius = across * w.draw(st.sampled_from([0.6, 1.0, -0.7]))
    w.to(w.draw(st.sampled_from(["G2", "G3"])), f"R{w.mm(radius)}", X=w.at[0] + across, Y=w.at[1])


def tab(w: Writer) -> None:
    """Lift over a tab, at times above the work, and go down again."""
    deep = w.at[2]
    w.to("G1", Z=w.draw(st.sampled_from([deep + 0.5, 1.0])))
    w.to("G1", X=w.at[0] + 4)
    w.to("G1", Z=deep)


def slopes(w: Writer) -> None:
    """Ramp down along a line, and cut an arc that stands upright."""
    absolutely(w)
    w.to("G0", X=number(w.draw, 0, 60), Y=number(w.draw, 0, 60))
    w.to("G1", Z=0.5)
    w.to("G1", X=w.at[0] + 10.5, Z=-2)
    w.say("G18")
    w.to("G2", f"I{w.mm(2.0)} K0", X=w.at[0] + 4)
    w.say("G17")


def holes(w: Writer) -> None:
    """Drill a series of holes with a cycle."""
    absolutely(w)
    w.to("G0", Z=SAFE)
    code = w.draw(st.sampled_from(["G81", "G82 P0.5", f"G83 Q{w.mm(1.5)}"]))
    back = w.draw(st.sampled_from(["G98", "G99"]))
    if w.draw(st.booleans()):
        w.relative = True
        repeats = w.draw(st.integers(1, 3))
        w.say(f"G91 G98 {code} X{w.mm(5)} Y{w.mm(2)} Z{w.mm(-5)} R{w.mm(2 - SAFE)} L{repeats} F{w.mm(300)}")
        w.at[0] += 5 * repeats
        w.at[1] += 2 * repeats
        w.say("G80")
        absolutely(w)
        return
    depth, level = w.mm(-3 - w.shift[2]), w.mm(2 - w.shift[2])
    w.say(f"{back} {code} Z{depth} R{level} X{w.mm(30 - w.shift[0])} F{w.mm(300)}")
    w.at[0] = 30.0
    for _ in range(w.draw(st.integers(0, 3))):
        w.at[0] = number(w.draw, 0, 60)
        w.say(f"X{w.mm(w.at[0] - w.shift[0])}")
    w.at[2] = SAFE if back == "G98" else 2.0
    w.say("G80")


def switch_units(w: Writer) -> None:
    """Change between inch and millimetre."""
    absolutely(w)
    w.inch = not w.inch
    w.say(f"{'G20' if w.inch else 'G21'} F{w.mm(700)}")


def offset(w: Writer) -> None:
    """Use the G92 family where the bit stands."""
    absolutely(w)
    word = w.draw(st.sampled_from(["G92", "G92", "G92.1", "G92.2"]))
    if word == "G92":
        w.shift = [w.at[0] - 3, w.at[1] + 2, w.at[2] - 8]
        w.say(f"G92 X{w.mm(3)} Y{w.mm(-2)} Z{w.mm(8)}")
    else:
        w.shift = [0.0, 0.0, 0.0]
        w.say(word)


def odds(w: Writer) -> None:
    """Pause, wait, switch coolant, move in the air at feed."""
    absolutely(w)
    w.say(w.draw(st.sampled_from(["M0", "M1", "G4 P0.5", "M7", "M9", "M49", "G61.1", "G99"])))
    w.to("G1", X=number(w.draw, 0, 60), Y=number(w.draw, 0, 60))


FEATURES = [profile, profile, slopes, holes, switch_units, offset, bit, odds]
