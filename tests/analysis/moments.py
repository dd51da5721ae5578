"""Moments by hand: a cut, and the air about it."""

from dataclasses import replace

import numpy as np

from analysis.baseline import TRUE_ENOUGH, Sample
from analysis.cut import Besides, Context, Moment
from analysis.events import Alarm, Event
from analysis.faults import Finding, Others
from analysis.health import Health
from analysis.presence import Phase
from analysis.watcher import Watcher

SECONDS = 0.05
NORMAL = Sample(
    plain=TRUE_ENOUGH,
    colour=np.zeros(3),
    level=-20.0,
    hiss=-24.0,
    noise=-50.0,
    own=0.9,
    foreign=0.0,
    teeth=-30.0,
    speed=300.0,
)
TIGHT = replace(NORMAL, colour=np.linspace(-30.0, -50.0, 10), hiss=-35.0, noise=-55.0, teeth=-25.0)
"""A cut with a bit that runs true."""
AIR = {"level": -32.0, "hiss": -36.0, "teeth": -44.0}
SHORT = 1.5
"""Seconds of the longest silence of the program hereabouts."""


class Machine:
    """Lets the tests, and a watcher, hear some seconds of this and that, and keeps what they say."""

    def __init__(self, normal: Sample = NORMAL) -> None:
        self.tests = Others(SECONDS)
        self._normal = normal
        self.watcher = Watcher(SECONDS, 0.5)
        self.at = 0.0
        self.found: list[tuple[float, Finding]] = []
        self.events: list[Event] = []

    def hear(self, lasting: float, **how: float) -> "Machine":
        """Let some seconds of a cut pass, whose numbers are otherwise as told."""
        return self._pass(lasting, Phase.CUT, how)

    def air(self, lasting: float, **how: float) -> "Machine":
        """Let some seconds pass in which the bit turns in the air."""
        return self._pass(lasting, Phase.AIR, AIR | how)

    def cuts(self, lasting: float = 4.0) -> "Machine":
        """Let it cut, and move through the air, and cut."""
        return self.hear(lasting).air(1.0).hear(lasting)

    def deaf(self, lasting: float) -> "Machine":
        """Let some seconds pass of which nothing is heard at all."""
        self.at += lasting
        return self

    @property
    def alarms(self) -> list[str]:
        """The causes of the watcher's alarms."""
        return [event.cause for event in self.events if isinstance(event, Alarm)]

    @property
    def causes(self) -> set[str]:
        """What was found."""
        return {found.cause for _, found in self.found}

    def _pass(self, lasting: float, sounds: Phase, how: dict[str, float]) -> "Machine":
        numbers = {"level": -20.0, "hiss": -24.0, "teeth": -30.0, "foreign": 0.0, "speed": 300.0}
        heard = {"comb": 3.0, "beats": 0.0, "tone": 0.0, "peak": 0.1}
        silence = how.get("silence", SHORT)
        plain = NORMAL.plain + how.get("signs", 0.0)
        sample = replace(
            NORMAL, plain=plain, **{name: how.get(name, usual) for name, usual in numbers.items()}
        )
        besides = Besides(sounds=sounds, **{name: how.get(name, usual) for name, usual in heard.items()})
        for _ in range(round(lasting / SECONDS)):
            self.at += SECONDS
            stops, guessed = (bool(how.get(name, False)) for name in ("stops", "guessed"))
            kind = str(how.get("kind", "across"))
            context = Context(1, kind, told=True, silence=silence, stops=stops, guessed=guessed)
            moment = Moment(self.at, self.at - SECONDS, sample, sounds, context, besides)
            found = self.tests.row(moment, self._normal)
            if found is not None:
                self.found.append((self.at, found))
            self.events += self.watcher.row(moment, Health(SECONDS))
        return self
