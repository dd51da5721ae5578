"""
A second, independent reading of the language, for tests only.

It shares no code with ``analysis.program`` and is written to be obvious rather than complete: a dictionary
of modes, one `if` per word, arcs walked in small steps. Positions are in mm, in the coordinates of the
system in force without the G92 offset. It has what a control has and a program does not tell: zeros of the
systems, a home, and a plate that a probe touches half way. Where a zero is set at a place that the program
can't know, places are told from there on as that zero says, and `moved` keeps how far that is off.
"""

import math
import re
from dataclasses import dataclass, field

from simple_formulas import value

DEFAULTS = {
    "motion": "G80",
    "plane": "G17",
    "units": "G21",
    "distance": "G90",
    "centres": "G91.1",
    "feed": "G94",
    "system": "G54",
    "length": "G49",
    "return": "G98",
    "path": "G61",
    "over": "M48",
}
SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
CYCLES = ("G73", "G81", "G82", "G83", "G85", "G89")
MOTIONS = ("G0", "G1", "G2", "G3", "G38.2", "G80", *CYCLES)
PLANES = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}
HOME = (-700.0, 300.0, 90.0)


@dataclass(frozen=True)
class Event:
    """One thing that happened: `what` is feed, rapid, home, probe, wait, stop or bit."""

    what: str
    line: int
    path: tuple[tuple[float, float, float], ...]
    rate: float
    spindle: tuple[int, float]
    waited: bool
    system: str
    length: str
    bit: int
    coolant: tuple[bool, bool]
    cycle: bool
    kind: str = ""
    seconds: float = 0.0


@dataclass
class SimpleMachine:
    """Runs text and writes down what happens."""

    at: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    modes: dict[str, str] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    shift: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    kept: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    zeros: dict[str, list[float]] = field(
        default_factory=lambda: {name: [101.0 * i, 53.0 * i, -80.0 - 3 * i] for i, name in enumerate(SYSTEMS)}
    )
    told: set[tuple[str, int]] = field(default_factory=set)
    lost: set[int] = field(default_factory=lambda: {0, 1, 2})
    lost_on: set[int] = field(default_factory=set)
    moved: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    parameters: dict[int, float] = field(default_factory=dict)
    rate: float = 0.0
    speed: float = 0.0
    spindle: int = 5
    waited: bool = False
    bit: int = 0
    chosen: int = 0
    mist: bool = False
    flood: bool = False
    line: int = 0
    sticky: dict[str, float] = field(default_factory=dict)
    initial: float = 0.0

    def run(self, text: str) -> list[Event]:
        """Run a program and return its events."""
        self.modes = {**DEFAULTS, **self.modes}
        lines = [
            re.sub(r"\([^)]*\)", "", raw).split(";")[0].replace(" ", "").upper() for raw in text.split("\n")
        ]
        begins = {int(bare[1:]): i for i, bare in enumerate(lines) if re.fullmatch(r"O\d+", bare)}
        calls: list[list[int]] = []
        at = 0
        while at < len(lines):
            self.line, bare = at + 1, lines[at]
            at += 1
            if not bare or bare[0] in "%/O":
                continue
            words = self._words(bare)
            if self._line(words):
                break
            jump = [int(number) for letter, number in words if letter == "M" and number in (98, 99)]
            if jump == [98]:
                named = dict(words)
                calls.append([at, begins[int(named["P"])], int(named.get("L", 1)) - 1])
                at = calls[-1][1]
            elif jump == [99]:
                calls[-1][2] -= 1
                at = calls[-1][1] if calls[-1][2] >= 0 else calls.pop()[0]
        return self.events

    def _words(self, bare: str) -> list[tuple[str, float]]:
        """Take a line apart; parameters that it sets count from the next line on."""
        words, settings, at = [], {}, 0
        while at < len(bare):
            number, end = value(bare, at + 1, self.parameters)
            if bare[at] == "#":
                settings[int(number)], end = value(bare, end + 1, self.parameters)
            else:
                words.append((bare[at], number))
            at = end
        self.parameters.update(settings)
        return words

    def _line(self, words: list[tuple[str, float]]) -> bool:
        codes = [f"{letter}{number:g}" for letter, number in words if letter in "GM"]
        value = {letter: number for letter, number in words if letter not in "GMN"}
        self._set(codes, "feed", ("G93", "G94", "G95"))
        self._set(codes, "units", ("G20", "G21"))
        mm = 25.4 if self.modes["units"] == "G20" else 1.0
        if "F" in value:
            self.rate = value["F"] * (1 if self.modes["feed"] == "G93" else mm)
        self.speed = value.get("S", self.speed)
        self.chosen = int(value.get("T", self.chosen))
        self._spindle(codes)
        self.mist = ("M7" in codes or self.mist) and "M9" not in codes
        self.flood = ("M8" in codes or self.flood) and "M9" not in codes
        if "G4" in codes:
            self.waited = self.waited or (self.spindle != 5 and value["P"] >= 1)
            self._log("wait", [self.at], seconds=value["P"])
        self._set(codes, "plane", tuple(PLANES))
        self._length(codes, value)
        self._change_system(codes)
        self._set(codes, "path", ("G61", "G61.1", "G64"))
        self._set(codes, "distance", ("G90", "G91"))
        self._set(codes, "centres", ("G90.1", "G91.1"))
        self._set(codes, "return", ("G98", "G99"))
        self._set(codes, "over", ("M48", "M49"))
        self._move(codes, {axis: value[axis] * mm for axis in "XYZIJKRQ" if axis in value}, value)
        if {"M0", "M1", "M60"} & set(codes):
            self._log("stop", [self.at])
        return bool({"M2", "M30"} & set(codes))

    def _spindle(self, codes: list[str]) -> None:
        if "M6" in codes:
            self.bit, self.spindle, self.waited = self.chosen, 5, False
            self._log("bit", [self.at])
        for code in ("M3", "M4", "M5"):
            if code in codes:
                self.waited = self.waited and self.spindle == int(code[1])
                self.spindle = int(code[1])

    def _set(self, codes: list[str], group: str, members: tuple[str, ...]) -> None:
        for code in codes:
            if code in members:
                self.modes[group] = code

    def _length(self, codes: list[str], value: dict[str, float]) -> None:
        before = self.modes["length"]
        if "G49" in codes:
            self.modes["length"] = "G49"
        if "G43" in codes:
            self.modes["length"] = f"G43H{value['H']:g}"
        if self.modes["length"] != before:
            self.lost.add(2)

    def _change_system(self, codes: list[str]) -> None:
        before = self.modes["system"]
        self._set(codes, "system", SYSTEMS)
        after = self.modes["system"]
        for axis in range(3):
            self.at[axis] += self.zeros[before][axis] - self.zeros[after][axis]
            if after != before and not {(before, axis), (after, axis)} <= self.told:
                self.lost.add(axis)

    def _move(self, codes: list[str], w: dict[str, float], value: dict[str, float]) -> None:
        if self.lost:
            self.lost_on.add(self.line)
        if self._offset(codes, w) or self._zero(codes, w, value) or self._home(codes, w):
            return
        before = self.modes["motion"]
        self._set(codes, "motion", MOTIONS)
        motion = self.modes["motion"]
        if motion != before:
            self.sticky, self.initial = {}, self.at[PLANES[self.modes["plane"]][2]]
        if not {"X", "Y", "Z"} & set(w) and not ({"I", "J", "K"} & set(w) and motion in ("G2", "G3")):
            return
        if motion in CYCLES:
            self._holes(w, value)
            return
        begin = list(self.at)
        end = self._end(w)
        if motion == "G0":
            self._go("rapid", [begin, end])
        elif motion == "G1":
            self._go("feed", [begin, end])
        elif motion in ("G2", "G3"):
            self._go("feed", self._arc(begin, end, w, clockwise=motion == "G2"))
        elif motion == "G38.2":
            self._go("probe", [begin, [(a + b) / 2 for a, b in zip(begin, end, strict=True)]])
            self.lost |= {"XYZ".index(axis) for axis in w if axis in "XYZ"}
        else:
            message = f"line {self.line}: motion without a motion word"
            raise RuntimeError(message)

    def _end(self, w: dict[str, float]) -> list[float]:
        relative = self.modes["distance"] == "G91"
        end = list(self.at)
        for i, axis in enumerate("XYZ"):
            if axis in w:
                end[i] = self.at[i] + w[axis] if relative else w[axis] + self.shift[i]
                self.lost -= set() if relative else {i}
        return end

    def _offset(self, codes: list[str], w: dict[str, float]) -> bool:
        if "G92" in codes:
            for i, axis in enumerate("XYZ"):
                if axis in w and i in self.lost:
                    self.moved[i] += w[axis] - self.at[i]
                    self.at[i], self.shift[i] = w[axis], 0.0
                elif axis in w:
                    self.shift[i] = self.at[i] - w[axis]
                self.lost -= {i} if axis in w else set()
            self.kept = list(self.shift)
            return True
        if "G92.1" in codes:
            self.shift, self.kept = [0.0] * 3, [0.0] * 3
        if "G92.2" in codes:
            self.kept, self.shift = list(self.shift), [0.0] * 3
        if "G92.3" in codes:
            self.shift = list(self.kept)
        if any(self.moved) and {"G92.1", "G92.2"} & set(codes):
            self.at = [a - by for a, by in zip(self.at, self.moved, strict=True)]
            self.moved, self.lost = [0.0] * 3, {0, 1, 2}
        return False

    def _zero(self, codes: list[str], w: dict[str, float], value: dict[str, float]) -> bool:
        if "G10" not in codes:
            return False
        here = self.modes["system"]
        name = SYSTEMS[int(value["P"]) - 1] if value["P"] else here
        for i, axis in enumerate("XYZ"):
            if axis not in w:
                continue
            before = self.zeros[name][i]
            self.zeros[name][i] = w[axis]
            if name == here:
                self.at[i] += before - w[axis]
                self.lost |= set() if (name, i) in self.told else {i}
            self.told.add((name, i))
        return True

    def _home(self, codes: list[str], w: dict[str, float]) -> bool:
        zero = self.zeros[self.modes["system"]]
        if {"G28", "G30"} & set(codes):
            self._set(codes, "motion", ("G0",))
            lost = set(self.lost)
            self._go("rapid", [list(self.at), self._end(w)])
            self.lost = lost | {0, 1, 2}
            self._go("home", [self.at, [HOME[i] - zero[i] for i in range(3)]])
        elif "G53" in codes:
            self._set(codes, "motion", ("G0", "G1"))
            named = {i for i, axis in enumerate("XYZ") if axis in w}
            end = [w["XYZ"[i]] - zero[i] if i in named else self.at[i] for i in range(3)]
            self._go("home", [self.at, end])
            self.lost |= named
        else:
            return False
        return True

    def _arc(
        self, begin: list[float], end: list[float], w: dict[str, float], *, clockwise: bool
    ) -> list[list[float]]:
        a, b, c = PLANES[self.modes["plane"]]
        if "R" in w:
            dx, dy = end[a] - begin[a], end[b] - begin[b]
            far = math.hypot(dx, dy)
            high = math.sqrt(max(w["R"] ** 2 - far**2 / 4, 0))
            left = (clockwise and w["R"] < 0) or (not clockwise and w["R"] > 0)
            high = high if left else -high
            ca, cb = begin[a] + dx / 2 - dy / far * high, begin[b] + dy / 2 + dx / far * high
        elif self.modes["centres"] == "G90.1":
            ca, cb = w["IJK"[a]] + self.shift[a], w["IJK"[b]] + self.shift[b]
        else:
            ca, cb = begin[a] + w.get("IJK"[a], 0.0), begin[b] + w.get("IJK"[b], 0.0)
        t0 = math.atan2(begin[b] - cb, begin[a] - ca)
        t1 = math.atan2(end[b] - cb, end[a] - ca)
        same = abs(end[a] - begin[a]) < 1e-6 and abs(end[b] - begin[b]) < 1e-6
        turn = t1 - t0
        while clockwise and turn >= -1e-9:
            turn -= 2 * math.pi
        while not clockwise and turn <= 1e-9:
            turn += 2 * math.pi
        if same:
            turn = -2 * math.pi if clockwise else 2 * math.pi
        radius = math.hypot(begin[a] - ca, begin[b] - cb)
        path = [list(begin)]
        for i in range(1, 24):
            point = [0.0, 0.0, 0.0]
            point[a] = ca + radius * math.cos(t0 + turn * i / 24)
            point[b] = cb + radius * math.sin(t0 + turn * i / 24)
            point[c] = begin[c] + (end[c] - begin[c]) * i / 24
            path.append(point)
        return [*path, end]

    def _holes(self, w: dict[str, float], value: dict[str, float]) -> None:
        c = PLANES[self.modes["plane"]][2]
        deep = "XYZ"[c]
        for axis in (deep, "R", "Q"):
            if axis in w:
                self.sticky[axis] = w[axis]
        self.sticky["P"] = value.get("P", self.sticky.get("P", 0.0))
        relative = self.modes["distance"] == "G91"
        clear = self.at[c] + self.sticky["R"] if relative else self.sticky["R"] + self.shift[c]
        bottom = clear + self.sticky[deep] if relative else self.sticky[deep] + self.shift[c]
        if self.at[c] < clear:
            self._along(c, "rapid", clear)
        self.initial = max(self.initial, clear)
        for _ in range(int(value.get("L", 1))):
            self._go(
                "rapid", [self.at, self._end({axis: w[axis] for axis in "XYZ" if axis in w and axis != deep})]
            )
            self._along(c, "rapid", clear)
            self._hole(c, clear, bottom)
            self._along(c, "rapid", self.initial if self.modes["return"] == "G98" else clear)

    def _hole(self, c: int, clear: float, bottom: float) -> None:
        motion = self.modes["motion"]
        if motion in ("G73", "G83"):
            reached = clear - self.sticky["Q"]
            while reached > bottom + 1e-9:
                self._along(c, "feed", reached, kind="peck")
                if motion == "G83":
                    self._along(c, "rapid", clear)
                self._along(c, "rapid", min(reached + 0.254, clear))
                reached -= self.sticky["Q"]
        self._along(c, "feed", bottom, kind="peck")
        if motion in ("G82", "G89") and self.sticky["P"]:
            self._log("wait", [self.at], seconds=self.sticky["P"])
        if motion in ("G85", "G89"):
            self._along(c, "feed", clear)

    def _along(self, axis: int, what: str, level: float, kind: str = "") -> None:
        end = list(self.at)
        end[axis] = level
        self._go(what, [self.at, end], kind)

    def _go(self, what: str, path: list[list[float]], kind: str = "") -> None:
        if math.dist(path[0], path[-1]) > 1e-9 or len(path) > 2:
            self._log(what, path, kind or what_it_does(path))
        self.at = list(path[-1])

    def _log(self, what: str, path: list[list[float]], kind: str = "", seconds: float = 0.0) -> None:
        self.events.append(
            Event(
                what=what,
                line=self.line,
                path=tuple((p[0], p[1], p[2]) for p in path),
                rate=self._rate() if what == "feed" else 0.0,
                spindle=(self.spindle, self.speed),
                waited=self.waited,
                system=self.modes["system"],
                length=self.modes["length"],
                bit=self.bit,
                coolant=(self.mist, self.flood),
                cycle=self.modes["motion"] in CYCLES,
                kind=kind,
                seconds=seconds,
            )
        )

    def _rate(self) -> float:
        """Return F as the control has it: mm/min, 1/min in G93; G95 multiplies by the turns per minute."""
        return self.rate * self.speed if self.modes["feed"] == "G95" else self.rate


def what_it_does(path: list[list[float]]) -> str:
    """Tell a feed's kind from its ends: straight up, down steeper than 2 in 1, down, or neither."""
    begin, end = path[0], path[-1]
    across, up = math.hypot(end[0] - begin[0], end[1] - begin[1]), end[2] - begin[2]
    straight = len(path) == 2
    if up < -1e-9:
        return "plunge" if straight and -up + 1e-9 >= 2 * across else "ramp"
    return "retract" if straight and up > 1e-9 and across <= 1e-9 else "cut"
