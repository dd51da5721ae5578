"""
Microphones: what they hear, and what spoils it.

All are invented, after what such devices are known to do; none is a particular one.
"""

import math
from dataclasses import dataclass

from recordings_synthetic.chance import stream
from recordings_synthetic.room.gain import AutomaticGain
from recordings_synthetic.room.suppression import Suppression
from recordings_synthetic.room.walls import Room


@dataclass(frozen=True)
class Change:
    """
    Something happens to the microphone: it is moved, or a lid falls over it.

    Attributes
    ----------
    at, over
        When, and how long it takes, s.
    level
        By how much everything becomes louder, dB.
    high
        What is above is dulled from then on, Hz, by 12 dB an octave.
    dip
        What a new reflection cancels, Hz.
    """

    at: float
    over: float = 0.3
    level: float = -4.0
    high: float = math.inf
    dip: float = math.inf


@dataclass(frozen=True)
class Peak:
    """A part of the response that is raised (or lowered): frequency in Hz, quality, dB."""

    frequency: float
    quality: float
    level: float


@dataclass(frozen=True)
class Microphone:
    """
    What hears it.

    Attributes
    ----------
    level
        The peak that the loudest cut reaches while all is well, as a share of full scale; well above 1 it
        clips.
    low, high
        Where its response falls off, Hz.
    hiss
        Its own noise, dB re an amplitude of full scale.
    bits
        Of a sample.
    steep
        How many times 12 dB an octave the response falls off below ``low`` and above ``high``.
    peaks
        Where its response is not flat.
    air
        How much of what comes through the air it takes up, dB; of the machine it takes up all.
    ceiling
        The share of full scale at which its amplifier clips, before anything else is done with the sound.
    hum, mains
        Hum that its cable picks up, root mean square in dB re an amplitude of full scale, and the frequency
        of the mains, in whole Hz.
    suppression, gain
        What its software does: noise suppression, then an automatic gain.
    channel
        What its software sends on ends here, Hz, by 48 dB an octave.
    offset
        A constant that is added to all samples, as a share of full scale.
    room
        The room around it; ``None`` for none at all.
    changes
        What happens to it, in any order.
    gaps
        When nothing arrives and the samples are exactly 0: (beginning, length), s.
    dropouts
        How many such gaps a minute come by chance, 5 to 80 ms each.
    """

    level: float = 0.22
    low: float = 60.0
    high: float = 15000.0
    hiss: float = -78.0
    bits: int = 24
    steep: int = 1
    peaks: tuple[Peak, ...] = (Peak(2800.0, 0.8, 2.5),)
    air: float = 0.0
    ceiling: float = math.inf
    hum: float = -math.inf
    mains: int = 50
    suppression: Suppression | None = None
    gain: AutomaticGain | None = None
    channel: float = math.inf
    offset: float = 0.0
    room: Room | None = None
    changes: tuple[Change, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    dropouts: float = 0.0


def moved(at: float, seed: int = 0) -> Change:
    """Return that the microphone is moved: up to 8 dB louder or softer, and another note is cancelled."""
    rng = stream(seed, "moved")
    return Change(at, 0.4, rng.uniform(2.0, 8.0) * rng.choice([-1.0, 1.0]), dip=rng.uniform(300.0, 2500.0))


def lid_closed(at: float) -> Change:
    """Return that a laptop's lid is closed over its microphone: 10 dB softer, and muffled above 1.2 kHz."""
    return Change(at, 0.6, -10.0, high=1200.0)


OVERDRIVEN = Microphone(level=3.0)
"""Its gain is set far too high: it clips."""

PUMPING = Microphone(gain=AutomaticGain(target=-20.0, attack=0.02, release=0.5))
"""An automatic gain that heeds every change: the loud becomes soft, and the soft loud."""

PHONE = Microphone(
    low=300.0, high=3400.0, steep=3, hiss=-66.0, bits=16, suppression=Suppression(), channel=3800.0
)
"""A telephone call: the band of speech, and software that swallows whatever is steady."""

ENHANCED = Microphone(bits=16, suppression=Suppression(depth=12.0, learn=5.0), gain=AutomaticGain())
"""A laptop with all of its sound "enhancements" on: milder suppression, then an automatic gain."""

CHEAP_USB = Microphone(low=120.0, high=9000.0, hiss=-56.0, bits=16, hum=-62.0, offset=0.012)
"""A cheap USB microphone: it hisses and hums, has steps of 16 bits, and its zero is not zero."""

CONTACT = Microphone(
    low=20.0, high=7000.0, hiss=-72.0, air=-45.0, peaks=(Peak(180.0, 0.35, 12.0), Peak(3300.0, 7.0, 11.0))
)
"""
A piezo disc on the spindle's mount: it hears no air, low orders strongly, and rings at its own resonance.

What the simulated machine itself sends through the air (its fan, the direct noise of chips) it hears as well:
the simulator does not tell the ways apart.
"""
