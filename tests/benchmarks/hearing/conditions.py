"""Healthy cutting: what is cut, in what shop, through what microphone. None of it may raise an alarm."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hearing import programs, shops
from hearing.programs import Job
from hearing.shops import AS_LOUD, QUIETER, Draw
from recordings_synthetic import Gantry
from recordings_synthetic.record import GANTRY
from recordings_synthetic.room import CHEAP_USB, CONTACT, ENHANCED, PHONE, PUMPING
from recordings_synthetic.spindle import UNREGULATED

Rng = np.random.Generator


@dataclass(frozen=True)
class Condition:
    """
    A row of the table of false alarms.

    Attributes
    ----------
    number
        Its own for good: seeds follow from it.
    name
        What a person would call it.
    shop
        Draws the shop it is cut in.
    job
        Draws what is cut.
    faulty
        Whether faults are tried in it as well.
    machine
        What cuts it.
    """

    number: int
    name: str
    shop: Draw = shops.quiet
    job: Callable[[Rng], Job] = programs.whole_job
    faulty: bool = False
    machine: Gantry = GANTRY


# Faults are tried where nothing covers the cut: what another sound covers, nobody can hear.
SHOPS = (
    Condition(1, "quiet shop", faulty=True),
    Condition(2, "hammer, doors, things dropped", shops.blows, faulty=True),
    Condition(3, "collector on and off, 10 dB below the cut", shops.machine("extractor"), faulty=True),
    Condition(4, "collector on and off, as loud as the cut", shops.machine("extractor", AS_LOUD)),
    Condition(5, "collector throughout, 10 dB below the cut", shops.throughout("extractor"), faulty=True),
    Condition(6, "talk, 10 dB below the cut", shops.chat(QUIETER), faulty=True),
    Condition(7, "talk, as loud as the cut", shops.chat(AS_LOUD)),
    Condition(8, "sander nearby, 10 dB below the cut", shops.machine("sander"), faulty=True),
    Condition(9, "radio, 10 dB below the cut", shops.throughout("music"), faulty=True),
    Condition(10, "radio, as loud as the cut", shops.throughout("music", AS_LOUD)),
    Condition(11, "compressor, 10 dB below the cut", shops.machine("compressor"), faulty=True),
    Condition(12, "table saw, 10 dB below the cut", shops.machine("table saw"), faulty=True),
    Condition(13, "mitre saw, 10 dB below the cut", shops.machine("mitre saw"), faulty=True),
    Condition(14, "planer, 10 dB below the cut", shops.machine("planer"), faulty=True),
    Condition(15, "another router, 10 dB below the cut", shops.machine("router"), faulty=True),
    Condition(16, "forklift's beeper, 10 dB below the cut", shops.machine("beeper"), faulty=True),
    Condition(17, "rain, 10 dB below the cut", shops.throughout("rain"), faulty=True),
    Condition(18, "three things at once, each 14 dB below the cut", shops.busy, faulty=True),
)
MACHINES = (Condition(19, "spindle that is not regulated", faulty=True, machine=Gantry(spindle=UNREGULATED)),)
CUTS = (
    Condition(21, "full-width slots among side cuts", job=programs.slots),
    Condition(22, "climb against conventional", job=programs.both_ways),
    Condition(23, "deeper first passes", job=programs.deep_first),
    Condition(24, "corners", job=programs.corners),
    Condition(25, "tabs", job=programs.tabs),
    Condition(26, "pecks", job=programs.pecks),
    Condition(27, "plunges", job=programs.plunges),
    Condition(28, "planned pauses", job=programs.pauses),
    Condition(29, "bit changes", job=programs.bit_changes),
    Condition(30, "feed override", job=programs.feed_override),
    Condition(31, "speed override", job=programs.speed_override),
)
MICROPHONES = (
    Condition(41, "telephone call as microphone", shops.heard_by(PHONE)),
    Condition(42, "contact microphone", shops.heard_by(CONTACT)),
    Condition(43, "cheap USB microphone", shops.heard_by(CHEAP_USB)),
    Condition(44, "automatic gain that pumps", shops.heard_by(PUMPING)),
    Condition(45, "sound enhancements on", shops.heard_by(ENHANCED)),
)
# In the order in which they are heard: the shops are heard in faulty runs as well.
CONDITIONS = {condition.number: condition for condition in (*CUTS, *MICROPHONES, *MACHINES, *SHOPS)}
