"""
A second, independent reading of the language, for tests only.

It shares no code with ``analysis.program`` and is written to be obvious rather than complete: a dictionary
of modes, one `if` per word, arcs walked in small steps. It leaves out what the generated programs do not
use (parameters, subprograms, G28). Positions are in mm, in the coordinates of the system in force without
the G92 offset.
"""

import math
import re
from dataclasses import dataclass, field

DEFAULTS = {
    "motion": "G80",
    "plane": "G17",
    "units": "G21",
    "distance": "G90",
    "feed": "G94",
    "system": "G54",
    "length": "G49",
    "return": "G98",
    "path": "G61",
    "over": "M48",
}
SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
WORD = re.compile(r"([A-Z])\s*([-+]?[\d.]+)")


@dataclass(frozen=True)
class Event:
    """One thing that happened: `what` is feed, rapid, wait, stop or bit."""

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


@dataclass
class SimpleMachine:
    """Runs text and writes down what happens."""

    at: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    modes: dict[str, str] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    shift: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    kept: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
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
        for self.line, raw in enumerate(text.split("\n"), 1):
            bare = re.sub(r"\([^)]*\)", "", raw).split(";")[0].replace(" ", "").upper()
            if bare and bare != "%":
                words = [(letter, float(number)) for letter, number in WORD.findall(bare)]
                if self._line(words):
                    break
        return self.events

    def _line(self, words: list[tuple[str, float]]) -> bool:
        codes = [f"{letter}{number:g}" for letter, number in words if letter in "GM"]
        value = {letter: number for letter, number in words if letter not in "GMN"}
        self._set(codes, "feed", ("G93", "G94"))
        self._set(codes, "units", ("G20", "G21"))
        mm = 25.4 if self.modes["units"] == "G20" else 1.0
        if "F" in value:
            self.rate = value["F"] * (1 if self.modes["feed"] == "G93" else mm)
        self.speed = value.get("S", self.speed)
        self.chosen = int(value.get("T", self.chosen))
        if "M6" in codes:
            self.bit, self.spindle, self.waited = self.chosen, 5, False
            self._log("bit", [self.at])
        for code in ("M3", "M4", "M5"):
            if code in codes:
                self.waited = self.waited and self.spindle == int(code[1])
                self.spindle = int(code[1])
        self.mist = ("M7" in codes or self.mist) and "M9" not in codes
        self.flood = ("M8" in codes or self.flood) and "M9" not in codes
        if "G4" in codes:
            self.waited = self.waited or (self.spindle != 5 and value["P"] >= 1)
            self._log("wait", [self.at])
        self._set(codes, "plane", ("G17", "G18", "G19"))
        if "G49" in codes:
            self.modes["length"] = "G49"
        if "G43" in codes:
            self.modes["length"] = f"G43H{value['H']:g}"
        self._set(codes, "system", SYSTEMS)
        self._set(codes, "path", ("G61", "G61.1", "G64"))
        self._set(codes, "distance", ("G90", "G91"))
        self._set(codes, "return", ("G98", "G99"))
        self._set(codes, "over", ("M48", "M49"))
        self._move(codes, {axis: value[axis] * mm for axis in "XYZIJKRQ" if axis in value}, value)
        if {"M0", "M1", "M60"} & set(codes):
            self._log("stop", [self.at])
        return bool({"M2", "M30"} & set(codes))

    def _set(self, codes: list[str], group: str, members: tuple[str, ...]) -> None:
        for code in codes:
            if code in members:
                self.modes[group] = code

    def _move(self, codes: list[str], w: dict[str, float], value: dict[str, float]) -> None:
        if self._offset(codes, w):
            return
        before = self.modes["motion"]
        self._set(codes, "motion", ("G0", "G1", "G2", "G3", "G80", "G81", "G82", "G83"))
        motion = self.modes["motion"]
        if motion != before:
            self.sticky, self.initial = {}, self.at[2]
        if not {"X", "Y", "Z"} & set(w) and not ({"I", "J", "K"} & set(w) and motion in ("G2", "G3")):
            return
        if motion in ("G81", "G82", "G83"):
            self._holes(w, value)
            return
        end = self._end(w)
        if motion == "G0":
            self._go("rapid", [self.at, end])
        elif motion == "G1":
            self._go("feed", [self.at, end])
        elif motion in ("G2", "G3"):
            self._go("feed", self._arc(end, w, clockwise=motion == "G2"))
        else:
            message = f"line {self.line}: motion without a motion word"
            raise RuntimeError(message)

    def _end(self, w: dict[str, float]) -> list[float]:
        relative = self.modes["distance"] == "G91"
        end = list(self.at)
        for i, axis in enumerate("XYZ"):
            if axis in w:
                end[i] = self.at[i] + w[axis] if relative else w[axis] + self.shift[i]
        return end

    def _offset(self, codes: list[str], w: dict[str, float]) -> bool:
        if "G92" in codes:
            for i, axis in enumerate("XYZ"):
                if axis in w:
                    self.shift[i] = self.at[i] - w[axis]
            self.kept = list(self.shift)
            return True
        if "G92.1" in codes:
            self.shift, self.kept = [0.0] * 3, [0.0] * 3
        if "G92.2" in codes:
            self.kept, self.shift = list(self.shift), [0.0] * 3
        if "G92.3" in codes:
            self.shift = list(self.kept)
        return False

    def _arc(self, end: list[float], w: dict[str, float], *, clockwise: bool) -> list[list[float]]:
        a, b, c = {"G17": (0, 1, 2), "G18": (2, 0, 1), "G19": (1, 2, 0)}[self.modes["plane"]]
        begin = self.at
        if "R" in w:
            dx, dy = end[a] - begin[a], end[b] - begin[b]
            far = math.hypot(dx, dy)
            high = math.sqrt(max(w["R"] ** 2 - far**2 / 4, 0))
            left = (clockwise and w["R"] < 0) or (not clockwise and w["R"] > 0)
            high = high if left else -high
            ca, cb = begin[a] + dx / 2 - dy / far * high, begin[b] + dy / 2 + dx / far * high
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
        for axis in "ZRQ":
            if axis in w:
                self.sticky[axis] = w[axis]
        relative = self.modes["distance"] == "G91"
        clear = self.at[2] + self.sticky["R"] if relative else self.sticky["R"] + self.shift[2]
        bottom = clear + self.sticky["Z"] if relative else self.sticky["Z"] + self.shift[2]
        if self.at[2] < clear:
            self._go("rapid", [self.at, [self.at[0], self.at[1], clear]])
        self.initial = max(self.initial, clear)
        for _ in range(int(value.get("L", 1))):
            end = self._end({axis: w[axis] for axis in "XY" if axis in w})
            self._go("rapid", [self.at, end])
            self._go("rapid", [self.at, [end[0], end[1], clear]])
            self._hole(clear, bottom)
            out = self.initial if self.modes["return"] == "G98" else clear
            self._go("rapid", [self.at, [end[0], end[1], out]])

    def _hole(self, clear: float, bottom: float) -> None:
        x, y, _ = self.at
        if self.modes["motion"] == "G83":
            deep = clear - self.sticky["Q"]
            while deep > bottom + 1e-9:
                self._go("feed", [self.at, [x, y, deep]])
                self._go("rapid", [self.at, [x, y, clear]])
                self._go("rapid", [self.at, [x, y, min(deep + 0.254, clear)]])
                deep -= self.sticky["Q"]
        self._go("feed", [self.at, [x, y, bottom]])
        if self.modes["motion"] == "G82":
            self._log("wait", [self.at])

    def _go(self, what: str, path: list[list[float]]) -> None:
        if math.dist(path[0], path[-1]) > 1e-9 or len(path) > 2:
            self._log(what, path)
        self.at = list(path[-1])

    def _log(self, what: str, path: list[list[float]]) -> None:
        self.events.append(
            Event(
                what=what,
                line=self.line,
                path=tuple((p[0], p[1], p[2]) for p in path),
                rate=self.rate if what == "feed" else 0.0,
                spindle=(self.spindle, self.speed),
                waited=self.waited,
                system=self.modes["system"],
                length=self.modes["length"],
                bit=self.bit,
                coolant=(self.mist, self.flood),
                cycle=self.modes["motion"] in ("G81", "G82", "G83"),
            )
        )
