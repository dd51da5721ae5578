"""
Programs that use what a restart may have to refuse: homes, probes, zeros, subprograms, parameters.

They are as safe as those of `generated`: they cut below Z 0 and traverse above it, and wherever the place is
known to the machine only, they say where they are before they cut. Numbers are sometimes written as formulas.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from generated import FEATURES, SAFE, Writer, absolutely, bit, number, offset, profile
from hypothesis import strategies as st

SYSTEMS = ("G54", "G55", "G59.1")
FORMULAS = (
    *("{0}", "[{0}]", "[{1}+{2}]", "[{3}*2]", "[0-{4}]", "{6}", "[{6}*1]", "##{5}", "-{6}", "[2**1*{3}]"),
    *("[{1}*2+{2}-{1}]", "[{0}-2*3+2**2+6/3]", "[{0}+9 MOD 4-1]", "[{0}+FIX[2.8]-FUP[1.2]]"),
)


@dataclass
class Wilder(Writer):
    """A writer that also writes formulas, and knows what the program has told of the zeros."""

    formulas: bool = False
    system: str = "G54"
    zeros: dict[str, list[float]] = field(default_factory=dict)
    moved: bool = False
    count: int = 100
    subs: list[list[str]] = field(default_factory=list)

    def mm(self, value: float) -> str:
        """Write a length in the unit in force, at times as a formula that is worth as much."""
        plain = super().mm(value)
        if not self.formulas:
            return plain
        way = self.draw(st.sampled_from(FORMULAS))
        part = self.draw(st.integers(-9, 9)) / 2
        rest, half, minus = f"{float(plain) - part:.6f}", f"{float(plain) / 2:.7f}", f"{-float(plain):.6f}"
        self.count += 2
        index, held = self.count, f"#{self.count + 1}"
        if "{5}" in way or "{6}" in way:
            worth = minus if way.startswith("-") else plain
            self.lines.append(f"#{index}={index + 1} {held}={worth}")
        return way.format(plain, part, rest, half, minus, index, held)


@st.composite
def wilder_programs(draw: Callable[..., object]) -> str:
    """Draw a program that states all its modes and uses what makes a place unknown."""
    w = Wilder(draw)
    w.inch = draw(st.booleans())
    w.say("G20" if w.inch else "G21")
    w.system = draw(st.sampled_from(SYSTEMS))
    w.say(f"G90 G91.1 G40 G80 G94 {w.system} G17")
    w.say(f"{draw(st.sampled_from(['G61', 'G64']))} {draw(st.sampled_from(['G98', 'G99']))} M48")
    bit(w)
    w.to("G0", Z=SAFE)
    w.to("G0", X=number(draw, 0, 60), Y=number(draw, 0, 60))
    w.say(f"F{w.mm(600)}")
    for _ in range(draw(st.integers(2, 7))):
        w.formulas = draw(st.integers(0, 2)) == 2
        draw(st.sampled_from([*WILD, *TAME]))(w)
        w.to("G0", Z=SAFE + draw(st.integers(0, 2)))
    w.formulas = False
    w.say(draw(st.sampled_from(["M2", "M30"])))
    return "\n".join([*w.lines, *(line for sub in w.subs for line in sub)]) + "\n"


def say_where(w: Wilder) -> None:
    """State the place on all axes, Z first."""
    absolutely(w)
    w.at[2] = math.nan
    w.to("G0", Z=SAFE)
    w.to("G0", X=number(w.draw, 0, 60), Y=number(w.draw, 0, 60))


def home(w: Wilder) -> None:
    """Go to a place that only the machine knows, on some way or other."""
    absolutely(w)
    ways = [
        *("G28", "G30", f"G28 Z{w.mm(SAFE + 4 - w.shift[2])}", f"G30 X{w.mm(9)} Y{w.mm(3)}", "G0 G53 Z0"),
        *(f"G0 G28 X{w.mm(5)} Z{w.mm(SAFE + 4 - w.shift[2])}", "G91 G28 Z0\nG90", f"G53 G0 X{w.mm(-90)} Y0"),
    ]
    w.lines += w.draw(st.sampled_from(ways)).split("\n")
    if w.draw(st.booleans()):
        w.say("M5")
        w.say("M3")
        w.say("G4 P2")
    say_where(w)


def touch(w: Wilder) -> None:
    """Touch something with a probe; at times the zero is then set where it touched."""
    absolutely(w)
    w.to("G0", Z=SAFE)
    w.say(f"G38.2 Z{w.mm(0.5 - w.shift[2])} F{w.mm(120)}")
    if w.draw(st.booleans()):
        w.say(f"G92 Z{w.mm(1.5)}")
        w.shift[2], w.moved = 0.0, True
    say_where(w)
    w.say(f"F{w.mm(500)}")


def put_offset(w: Wilder) -> None:
    """Let the place where the bit stands read as something else."""
    absolutely(w)
    w.shift = [w.at[0] - 4, w.at[1] + 1, w.at[2] - 7]
    w.say(f"G92 X{w.mm(4)} Y{w.mm(-1)} Z{w.mm(7)}")


def clear(w: Wilder) -> None:
    """End the G92 offset; where a probe had decided it, the place is unknown again."""
    absolutely(w)
    w.say(w.draw(st.sampled_from(["G92.1", "G92.2"])))
    w.shift = [0.0, 0.0, 0.0]
    if w.moved:
        w.moved = False
        say_where(w)


def put_zeros(w: Wilder) -> None:
    """Put the zeros of some systems at places of the machine."""
    absolutely(w)
    name = {"G54": 1, "G55": 2, "G59.1": 7}
    every = w.draw(st.booleans())
    for system in SYSTEMS:
        if every or w.draw(st.booleans()):
            place = [number(w.draw, 0, 90), number(w.draw, 0, 90), -80 + number(w.draw, 0, 1)]
            words = " ".join(f"{axis}{w.mm(value)}" for axis, value in zip("XYZ", place, strict=True))
            w.say(f"G10 L2 P{name[system]} {words}")
            before = w.zeros.get(system)
            w.zeros[system] = place
            if system == w.system and before is None:
                say_where(w)
            elif system == w.system:
                w.at = [at + old - new for at, old, new in zip(w.at, before, place, strict=True)]


def change_system(w: Wilder) -> None:
    """Go over to another system; where the zeros are told, on from where the bit stands."""
    absolutely(w)
    before, w.system = w.system, w.draw(st.sampled_from(SYSTEMS))
    w.say(w.system)
    if before == w.system:
        return
    if before in w.zeros and w.system in w.zeros:
        apart = zip(w.at, w.zeros[before], w.zeros[w.system], strict=True)
        w.at = [at + old - new for at, old, new in apart]
        w.say(f"G91 G0 X{w.mm(1.5)} Z{w.mm(1)}")
        w.say("G90")
        w.at = [w.at[0] + 1.5, w.at[1], w.at[2] + 1]
    else:
        say_where(w)


def tell_and_change(w: Wilder) -> None:
    """Tell zeros, then go over to another system, and perhaps to a third."""
    put_zeros(w)
    change_system(w)
    change_system(w)


def steps(w: Wilder) -> None:
    """Call a subprogram of steps, some times over; at times it calls another."""
    absolutely(w)
    w.to("G0", Z=SAFE)
    name, inner = 100 + len(w.subs), w.draw(st.booleans())
    down, far = (0.3, 0.2) if w.inch else (8.0, 5.0)
    cut = [f"G1 Z-{down}", f"X{far}", f"G2 X{far} I{far / 2}", f"G0 Z{down}", f"G91 Y{far}"]
    call = [f"M98 P{name + 1} L2"] if inner else []
    w.subs.append([f"O{name}", "G91", *cut[:-1], *call, cut[-1], "G90", "M99"])
    if inner:
        w.subs.append([f"O{name + 1}", "G91", f"G0 Y{far}", f"G1 Z-{down}", f"G0 Z{down}", "G90", "M99"])
    times = w.draw(st.integers(1, 3))
    w.say(f"F{w.mm(400)}")
    w.say(f"M98 P{name}" + (f" L{times}" if times > 1 else ""))
    unit = 25.4 if w.inch else 1.0
    w.at[0] += 2 * far * unit * times
    w.at[1] += (3 if inner else 1) * far * unit * times


def arcs_in_a_row(w: Wilder) -> None:
    """Cut arcs without saying G2 or G3 again; at times by places of their centres (G90.1)."""
    absolutely(w)
    if w.draw(st.booleans()):
        put_offset(w)
    w.to("G0", X=number(w.draw, 0, 60), Y=number(w.draw, 0, 60))
    w.to("G1", Z=-1.5)
    there = w.draw(st.booleans())
    if there:
        w.say("G90.1")
    motion = w.draw(st.sampled_from(["G2", "G3"]))
    for count in range(w.draw(st.integers(1, 4))):
        far = number(w.draw, 1, 6) / 4
        i, j = (w.at[0] + far - w.shift[0], w.at[1] - w.shift[1]) if there else (far, 0.0)
        w.to("" if count else motion, f"I{w.mm(i)} J{w.mm(j)}", X=w.at[0] + 2 * far, Y=w.at[1])
    if there:
        w.say("G91.1")


def per_turn(w: Wilder) -> None:
    """Feed per turn of the spindle."""
    absolutely(w)
    w.to("G0", X=number(w.draw, 0, 60))
    w.say(f"G95 F{w.mm(0.05)}")
    w.say(f"G1 Z{w.mm(-1 - w.shift[2])}")
    w.say(f"X{w.mm(70 - w.shift[0])} S12000")
    w.at[0], w.at[2] = 70.0, -1.0
    w.say(f"G94 F{w.mm(700)}")


def slashed(w: Wilder) -> None:
    """Write a line that the block-delete switch leaves out."""
    w.lines.append(f"/N7 G1 X{w.mm(number(w.draw, 0, 60))} F90")


def other_holes(w: Wilder) -> None:
    """Drill with the cycles that `generated` leaves out."""
    absolutely(w)
    w.to("G0", Z=SAFE)
    code = w.draw(st.sampled_from([f"G73 Q{w.mm(1.25)}", "G85", "G89 P0.25", "G82 P0"]))
    back = w.draw(st.sampled_from(["G98", "G99"]))
    places = f"Z{w.mm(-3 - w.shift[2])} R{w.mm(2 - w.shift[2])} X{w.mm(9 - w.shift[0])}"
    w.say(f"{back} {code} {places} F{w.mm(300)}")
    w.at[0], w.at[2] = 9.0, SAFE if back == "G98" else 2.0
    for _ in range(w.draw(st.integers(0, 2))):
        w.at[1] = number(w.draw, 0, 60)
        w.say(f"Y{w.mm(w.at[1] - w.shift[1])}")
    w.say("G80")


def slants(w: Wilder) -> None:
    """Go down at several slopes, and up."""
    absolutely(w)
    w.to("G0", X=number(w.draw, 0, 60))
    w.to("G1", Z=0.5)
    for across in (1.0, 1.4, 3.0):
        w.to("G1", X=w.at[0] + across * w.draw(st.sampled_from([-1, 1])), Z=w.at[2] - 2.0)
    w.to("G1", Y=w.at[1] + 1, Z=w.at[2] + 1)


def upright(w: Wilder) -> None:
    """Cut an arc in the YZ plane."""
    absolutely(w)
    w.to("G1", Z=0.5)
    w.say("G19")
    w.to("G3", f"J{w.mm(1.5)} K0", Y=w.at[1] + 3)
    w.say("G17")


TAME = [feature for feature in FEATURES if feature is not offset]
WILD = [
    *(home, touch, put_offset, clear, put_zeros, change_system, tell_and_change, steps),
    *(arcs_in_a_row, slants, per_turn, slashed, other_holes, upright, profile),
]
