"""
The whole way of a sound, from samples to events.

Live hearing, replay and review all run this, and decide alike whatever the size of their blocks.
"""

import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.air import Air, Telling
from analysis.asked_speed import Otherwise, as_asked, at_each_speed, slowest_of
from analysis.baseline import sample
from analysis.biting import Biting
from analysis.cut import LOST, Besides, Context, Moment
from analysis.cutting import Bit
from analysis.events import Alarm, Event, Summary
from analysis.features import COLUMNS as FEATURES
from analysis.features import Ear, FeatureReader, Rows
from analysis.first_air import AirSwell, FirstAir
from analysis.health import Health, trouble
from analysis.locate import Locator
from analysis.pace import Learned
from analysis.presence import Phase, Presence
from analysis.pumping import Pumping
from analysis.reference import Reference
from analysis.since_alarm import STOOD
from analysis.true_speed import HeardSpeed
from analysis.watcher import USUAL, Settings, Watcher
from analysis.which_bit import WhichBit
from analysis.windows import Windows, window_size

# What a step's table holds of each row: the features, then how near the test stood to an alarm (1 is one),
# what the spindle was doing (0 off, 1 air, 2 cut), and whether it was compared with what is normal (0, 1).
COLUMNS = (*FEATURES, "score", "phase", "compared")
CUT = 2.0
"""The phase of a row in which it cuts."""
_PHASES = {Phase.OFF: 0.0, Phase.AIR: 1.0, Phase.CUT: CUT}

# Windows that are read at once: enough for speed, and the memory of a long recording stays small. After as
# many rows it is looked at again how fast the spindle truly turns.
_BATCH = 64

# Below this probability of cutting, what is heard is what the shop adds.
_SURELY_AIR = 0.05

# Turns that a window must hold for what comes every second turn to be told from slow ups and downs.
_TURNS = 20.0

# Where a spindle is looked for when nobody said how fast it turns, rpm.
SLOWEST, FASTEST = 6000.0, 30000.0


@dataclass(frozen=True, eq=False)
class Step:
    """
    What came of a block of samples.

    Attributes
    ----------
    events
        What the watcher said.
    at
        When each row was complete, s from the first sample, shape (k,).
    table
        The rows' features, shape (k, len(COLUMNS)).
    """

    events: tuple[Event, ...]
    at: NDArray[np.float64]
    table: NDArray[np.float32]


# What comes of a block that completes no window.
_NOTHING = Step((), np.empty(0), np.empty((0, len(COLUMNS)), dtype=np.float32))


def _loudness(rows: Rows, index: int) -> float:
    """
    Return how loud row ``index`` is for the place, dBFS: the mean of the whole sound and its hiss.

    The machines of a shop are loudest below the hiss of a cut; but a microphone may be dull there.
    """
    return 0.5 * (float(rows.level[index]) + float(rows.hiss[index]))


def ear_for(rate: int, bit: Bit, size: int) -> Ear:
    """Return the ear for ``bit`` with windows of ``size`` samples."""
    if bit.speed is None:
        return Ear(rate, SLOWEST / 60, min(FASTEST / 60, 0.4 * rate), bit.flutes, size)
    told = Ear.for_speed(rate, bit.speed, bit.flutes)
    return replace(told, size=size)


class Listener:
    """
    Hears samples and gives events.

    Parameters
    ----------
    rate
        Samples per second, Hz.
    bits
        The bit that each T number stands for; the entry 0 serves where none is told.
    locator
        Follows the place in the program.
    settings
        The user's settings.
    references
        How bits sound when they are tight, by T number; the entry 0 is no other's.
    settings_of
        Settings of single bits, by T number; ``settings`` are those of all others.
    watcher
        The kind of watcher that decides.

    Attributes
    ----------
    pumps
        Whether a gain seems to move by itself.
    """

    def __init__(  # noqa: PLR0913 - the first three, and what may be left out
        self,
        rate: int,
        bits: Mapping[int, Bit],
        locator: Locator,
        settings: Settings = USUAL,
        references: Mapping[int, Reference] = {},
        *,
        settings_of: Mapping[int, Settings] = {},
        watcher: type[Watcher] = Watcher,
    ) -> None:
        each = {number: at_each_speed(bit) for number, bit in bits.items()}
        self.rate = rate
        self.locator = locator
        self._size = window_size(rate, 60.0 / slowest_of(bits))
        self._bits = dict(bits)
        self._row = 0
        self._bit = locator.context.bit
        # What turns, and how fast: at first as it mostly does.
        self._turning = self._as_asked() or replace(self._tool(self._bit), speeds=())
        ears = {
            number: [ear_for(rate, bit, self._size) for bit in turning]
            for number, turning in each.items()
            # What none is told of has no sound of its own, unless it changes its speed.
            if number or len(turning) > 1
        }
        self._which = WhichBit(ears, locator.learned.turns)
        self._cuts_at: dict[int, HeardSpeed] = {}
        # Whether it is just forgotten how fast a spindle turns that has stood.
        self._stood = False
        self._reader = self._new_reader()
        ear = self._reader.ear
        self._hop = ear.hop
        self._windows = Windows(self._size, self._hop)
        seconds = ear.seconds
        self._otherwise = Otherwise(seconds)
        self._health = Health(seconds)
        self._presence = Presence(seconds)
        self._biting = Biting(seconds)
        self._first_air = FirstAir(seconds)
        # Of each speed and number of flutes that is listened for.
        self._swells: dict[tuple[float | None, int], AirSwell] = {}
        # Whether a cut is heard where none is thought to be.
        self._astray = False
        self._pumping = Pumping(seconds)
        self.pumps = False
        self._air = Air(seconds)
        self.watcher = watcher(
            seconds,
            ear.correlation,
            settings,
            references,
            settings_of=settings_of,
            speeds={number: None if bit.speeds else bit.speed for number, bit in bits.items()},
        )
        self._alarms = 0
        # The last alarm's resume line, and its bit. It outlives the alarm, until it cuts on after the spindle
        # has stood; for how long it has, s, since it last cut.
        self._resume: int | None = None
        self._accused = self._bit
        self._cuts_on, self._rests = False, 0.0
        # The line of the first cut since the bit was tightened; and whether that is still to come.
        self._carries_on: int | None = None
        self._pauses = False
        self._assumed = 0.0
        self._likened: tuple[Context | None, Context] = None, Context()
        self._heard = 0
        self._cut = self._compared = 0
        self.phase = self._sounds = Phase.OFF
        self.speed = 0.0

    @property
    def at(self) -> float:
        """Seconds of sound taken in."""
        return self._windows.position / self.rate

    @property
    def learned(self) -> Learned:
        """What was learned of the machine; what was known before where the run tells nothing."""
        return replace(self.locator.learned, turns=self._which.turned)

    def _tool(self, number: int) -> Bit:
        return self._bits.get(number) or self._bits[0]

    def _as_asked(self) -> Bit | None:
        """Return the bit at the speed that the program asks for; ``None`` where nobody knows which it is."""
        context = self.locator.context
        return as_asked(self._tool(context.bit), context)

    def _new_reader(self) -> FeatureReader:
        """Return a reader for what turns, which knows what was learned of the spindle."""
        reader = FeatureReader(ear_for(self.rate, self._turning, self._size))
        reader.expect(self._unlikely(reader.ear))
        return reader

    def _unlikely(self, ear: Ear) -> NDArray[np.float32]:
        """Return what each speed of an ear's grid loses for being unlikely, dB, shape (g,)."""
        if ear.nominal is not None:
            return self._which.unlikely(ear)
        return self._cuts_at.setdefault(self._bit, HeardSpeed(ear.seconds)).unlikely(ear.grid)

    def hear(self, block: NDArray[np.float32]) -> Step:
        """
        Take in samples, shape (n,), mono, in [-1, 1].

        Raises
        ------
        ValueError
            If ``block`` is not one-dimensional.
        """
        events: list[Event] = []
        at: list[float] = []
        tables: list[NDArray[np.float32]] = []
        windows = self._windows.feed(block)
        if not len(windows):
            return _NOTHING
        while len(windows):
            rows = self._reader.read(windows[: _BATCH - self._row % _BATCH])
            self._which.read(rows, self._reader.ear)
            judged = self._take(rows, at, events)
            self._which.keep(len(judged))
            # At the same rows, in whatever blocks they come.
            if self._row % _BATCH == 0:
                self._which.learn()
                self._reader.expect(self._unlikely(self._reader.ear))
            tables.append(np.hstack([rows.table()[: len(judged)], np.array(judged, dtype=np.float32)]))
            windows = windows[len(judged) :]
        return Step(tuple(events), np.array(at), np.concatenate(tables))

    def lost(self, reason: str) -> list[Event]:
        """Say that the source delivers nothing, for ``reason``."""
        self._health.lost(reason)
        return self.watcher.silence(self.at, self._health)

    def nothing(self) -> list[Event]:
        """
        Take in that the person says that the alarm, or the doubt of the bit that turns, was nothing.

        Returns what is to be said of it. What it alone made suspect is no longer: that a doubt was nothing
        says nothing of an alarm before it, and that another fault than a loose bit was nothing says nothing
        of a doubt. After an alarm of a loose bit what is heard now counts as normal for this bit.
        """
        bit, of_alarm, another = self.watcher.meant, self.watcher.takes_back, self.watcher.has_another_fault
        said = self.watcher.nothing(self.at)
        if said and not another:
            # Whose alarm was nothing is tight, and has been since it began to be in doubt.
            self.locator.dispel(bit)
        if said and of_alarm:
            self.locator.acquit()
            self._resume = None
        return said

    @property
    def carries_on(self) -> int | None:
        """The line of the file for which the first cut will be taken, once it was told where to go on."""
        return self._carries_on

    def tightened(self) -> list[Event]:
        """
        Take in that the bit was tightened and the cut goes on; return what is to be said of it.

        The first seconds of cutting are compared with the good sound from before: a `Checked` follows. The
        next cut that is heard is taken for the one at the last alarm's resume line; where that alarm is over,
        only if the spindle stands.
        """
        self.locator.tightened(self.watcher.meant)
        if self._resume is not None and (self.watcher.alarmed or self._may_begin_anew):
            self._will_carry_on(self._resume)
        self._resume, self._pauses = None, True
        return self.watcher.tightened(self.at)

    @property
    def _may_begin_anew(self) -> bool:
        """Whether the spindle stands, or has stood and not cut since, with the bit that has alarmed."""
        context = self.locator.context
        stands = self._sounds is Phase.OFF or self._rests >= STOOD
        return stands and (context.guessed or context.bit == self._accused)

    def mark(self, line: int) -> list[Event]:
        """
        Take in that a line of the file is being cut now; return what is to be said of it, which is nothing.

        As long as no cut is heard since the bit was tightened it is the one with which it will go on.

        Raises
        ------
        ValueError
            When there is no program, or no move on that line.
        """
        if self._pauses:
            self._begin_with(line)
        else:
            self.locator.mark(line)
        return []

    def _begin_with(self, line: int) -> None:
        # Nothing need move on a line that one goes on from: it may call a subprogram.
        begins = self._carries_on
        self.locator.carries_on(line)
        try:
            self.locator.mark(line)
            begins = line
        finally:
            if begins is not None:
                self._will_carry_on(begins)

    def _will_carry_on(self, line: int) -> None:
        self._carries_on = line
        self.locator.carries_on(line)

    def end(self) -> Summary:
        """Return what is to be said at the end of the run."""
        return Summary(
            at=self.at,
            alarms=self._alarms,
            heard_s=self._heard * self._hop / self.rate,
            cut_s=self._cut * self._hop / self.rate,
            compared_s=self._compared * self._hop / self.rate,
            lines_seen=self.locator.lines_seen,
            parts=self.locator.verdicts(self.watcher.learned),
        )

    def _take(self, rows: Rows, at: list[float], events: list[Event]) -> list[tuple[float, ...]]:
        """Let rows decide one by one, until the bit changes or has stood; return what `COLUMNS` ends with."""
        judged: list[tuple[float, ...]] = []
        for index in range(len(rows)):
            first = self._row * self._hop
            self._row += 1
            at.append((first + self._size) / self.rate)
            self._decide(rows, index)
            said = self.watcher.row(self._moment(rows, index, first, at[-1]), self._health)
            events.extend(self._complete(event) for event in said)
            if self._cuts_on and not self.watcher.alarmed:
                self._resume = None
            self.locator.judged(self.watcher.state)
            self._compared += self.watcher.compared
            judged.append((self.watcher.score, _PHASES[self.phase], float(self.watcher.compared)))
            bit, asked = self.locator.context.bit, self._as_asked()
            if bit != self._bit or asked not in (None, self._turning):
                self._change_bit(bit, asked)
                break
            if self._stood:
                # What follows is not to be read with what was known before.
                self._reader, self._stood = self._new_reader(), False
                break
        return judged

    def _complete(self, event: Event) -> Event:
        event = self.locator.complete(event)
        if isinstance(event, Alarm):
            self._alarms += 1
            self._resume = event.resume.file if event.resume else None
            self._accused, self._cuts_on = self.watcher.meant, False
        return event

    def _moment(self, rows: Rows, index: int, first: int, at: float) -> Moment:
        """Return row ``index``: its window begins with sample ``first`` and was complete at ``at`` s."""
        heard = Telling(
            rows.tells[index],
            rows.hides[index],
            10.0 ** (float(rows.hiss[index]) / 10.0),
            rows.swell[index],
            signs=rows.signs[index],
        )
        # What may be a cut teaches nothing of the air.
        phase = self._sounds if self.phase is Phase.AIR else self.phase
        own = self._air.row(heard, phase, apart=self._apart and not self._astray)
        middle = (first + self._size / 2) / self.rate
        lines = len(self._reader.ear.telling)
        heard_too = Besides(
            sounds=self._sounds,
            hears=self._presence.hears,
            comb=float(rows.prominence[index]),
            beats=float(rows.beats[index]),
            tone=float(rows.tone[index]),
            peak=float(rows.peak[index]),
            steps=rows.steps[index] if self._tells_halves(float(rows.speed[index])) else None,
        )
        return Moment(at, middle, sample(rows, index, own, lines), self.phase, self._context(), heard_too)

    def _tells_halves(self, speed: float) -> bool:
        """Return whether a window holds enough turns to tell every second one from slow ups and downs."""
        return speed * self._size >= _TURNS * self.rate

    def _context(self) -> Context:
        """Return what is being cut; one steady sound, and nothing else heard so far, is like itself."""
        context = self.locator.context
        if self._astray and self.locator.cutting is not None:
            # It cuts elsewhere in the program than it is thought to, or another one.
            several = len(self._which.numbers) > 1
            context = replace(context, kind=LOST, cuts=True, told=False, guessed=several)
        speeds = self._tool(context.bit).speeds
        if speeds and (self._as_asked() != self._turning or self._otherwise.plainly):
            # Where the speed has just changed, this row was still heard with the ear for the one before.
            return replace(context, either=speeds)
        if self._apart or self._presence.stood:
            return context
        # Mostly it is the same one as for the row before.
        if context is not self._likened[0]:
            self._likened = context, replace(context, told=True, apart=False)
        return self._likened[1]

    @property
    def _apart(self) -> bool:
        """Whether cut and air are told from one another, by what was heard or by the place."""
        return not self._presence.assumed or self.locator.cutting is not None

    def _decide(self, rows: Rows, index: int) -> None:
        self._health.row(
            trouble(float(rows.peak[index]), float(rows.spread[index]), float(rows.clipped[index]))
        )
        self.speed = float(rows.speed[index])
        if self._health.usable and not self._health.deaf:
            self._heard += 1
            self.pumps = self._pumping.row(rows.colour[index]) or self.pumps
            heard = self._presence.row(
                float(rows.level[index]),
                rows.colour[index],
                self._stands(rows, index),
                # Teeth that noise hides are no quieter than it.
                max(float(rows.tooth[index]), float(rows.noise[index]) - 10.0),
                is_air=self._is_surely_air(),
            )
            self._sounds = heard
            self._hear_speed(heard)
            self._hear_rest(heard)
            swell = self._hear_first_air(rows, index)
            if heard is Phase.CUT and self._pauses:
                self._carry_on()
            # What a row tells has begun about where its window begins.
            self.locator.row(
                self._row * self._hop / self.rate, heard, _loudness(rows, index), self._which.fits(index)
            )
            self.phase = self._phase(heard)
            self._hear_astray(float(rows.bites[index]) - swell)
            self._cut += self.phase is Phase.CUT
            self._hear_otherwise(index)
            if self._presence.corrected:
                self.watcher.forget(self._bit, self._assumed)
            elif not self._presence.assumed:
                self._assumed = self._row * self._hop / self.rate
        else:
            self._pumping.lost()
            self.locator.row(self._row * self._hop / self.rate, self.phase, math.nan)

    def _hear_first_air(self, rows: Rows, index: int) -> float:
        """Hear how much the air swells with the teeth, dB; return what is known of it."""
        ear = self._reader.ear
        swell = self._swells.setdefault((ear.nominal, ear.flutes), AirSwell(ear.seconds))
        if self._first_air.row(self._sounds):
            self._which.is_air(index)
            swell.hear(float(rows.bites[index]))
        return swell.usual

    def _hear_astray(self, bites: float) -> None:
        """Hear whether it cuts where the place, or the level, says that it does not."""
        self._astray = self._biting.row(bites, self.phase)
        if self._astray:
            self._presence.bites()
            self.phase = Phase.CUT

    def _hear_rest(self, heard: Phase) -> None:
        """Hear whether the spindle has stood, and whether it cuts on then."""
        if heard is Phase.OFF:
            self._rests += self._hop / self.rate
        elif heard is Phase.CUT or self._rests < STOOD:
            self._cuts_on = self._cuts_on or self._rests >= STOOD
            self._rests = 0.0

    def _hear_speed(self, heard: Phase) -> None:
        """Learn how fast the spindle turns, where nobody told it."""
        learns = self._cuts_at.get(self._bit)
        self._stood = learns is not None and learns.row(heard, self.speed)

    def _stands(self, rows: Rows, index: int) -> float:
        """Return how far the spindle stands out, dB: at any of its speeds, for the place may be wrong."""
        if not self._changes_speed:
            return float(rows.stands[index])
        return self._which.fit(self._bit, index).stands

    def _hear_otherwise(self, index: int) -> None:
        """Hear whether it cuts at another speed than the one that it is listened to at."""
        nominal = self._reader.ear.nominal
        if self._changes_speed and self.phase is Phase.CUT and nominal is not None:
            self._otherwise.row(nominal, self._which.stands(self._bit, index))

    @property
    def _changes_speed(self) -> bool:
        known = self._bits.get(self._bit)
        return known is not None and bool(known.speeds)

    def _carry_on(self) -> None:
        """Take the cut that is heard now for the one with which a restart program begins."""
        line, self._carries_on, self._pauses = self._carries_on, None, False
        if line is not None:
            with suppress(ValueError):  # nothing moves there: then the sound alone must tell
                self.locator.mark(line)

    def _is_surely_air(self) -> bool:
        if self._carries_on is not None or self._astray:
            return False
        cutting = self.locator.cutting
        return not self.locator.context.cuts if cutting is None else cutting < _SURELY_AIR

    def _phase(self, heard: Phase) -> Phase:
        """Return what the spindle does: what is heard, unless the way through the program tells better."""
        cutting = self.locator.cutting
        if cutting is None or heard is Phase.OFF or self._carries_on is not None:
            return heard
        return Phase.CUT if cutting > 0.5 else Phase.AIR

    def _change_bit(self, bit: int, asked: Bit | None) -> None:
        self._bit = bit
        self._turning = asked or replace(self._tool(bit), speeds=())
        self._otherwise.begin()
        self._reader = self._new_reader()
        # Another bit has other lines that tell, and so has another speed.
        self._air = Air(self._reader.ear.seconds)
