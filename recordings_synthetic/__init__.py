"""
A simulator of cutting sound: INVENTED recordings, each with its truth line by line.

Nothing here was recorded. The sound is computed from what is known of milling (chip thickness tooth by
tooth, runout, engagement), of machines (acceleration, spindle, drives) and of shops, from a seed. What a
bit that slips in its collet sounds like is a HYPOTHESIS of this package, derived from the same mechanics
and from what is published about looseness of rotating parts: no published spectrum of it was found.

::

    job               the demo job and varied ones, written as programs
    machine           what the machine really does with a program: where the bit is at each moment
    stock             what the bit meets there: depth and angles of engagement, from a map of the sheet
    stage             both, for a program or for one plain cut
    spindle           how fast the spindle really turns
    faults            what goes wrong, how badly, from when on, and what it does
    scene, layers     what turns and moves; the ways in which the bit cuts at the same time
    score             all that changes slowly, millisecond by millisecond
    force, tables     milling force over a turn, tooth by tooth
    cutter, sound     score and tables to sound: the cut, the structure, the motor, the drives
    shop, room        other sounds, the background, the microphone
    mishap            how a fault meets what happens
    record            all of it together: ``record`` and ``steady``
    truth, facts      what was really so, to compare with what was heard
    make              the shipped examples, from seeds
    chance, filters   tools
"""

from recordings_synthetic.faults import (
    BrokenBit,
    Chatter,
    ChippedFlute,
    DullBit,
    Fault,
    LooseSheet,
    Slip,
    StalledAxis,
    StoppedSpindle,
)
from recordings_synthetic.machine import Gantry
from recordings_synthetic.record import Recording, record, steady
from recordings_synthetic.room import (
    CHEAP_USB,
    CONTACT,
    ENHANCED,
    OVERDRIVEN,
    PHONE,
    PUMPING,
    AutomaticGain,
    Change,
    Microphone,
    Peak,
    Room,
    Shop,
    Suppression,
    lid_closed,
    moved,
)
from recordings_synthetic.shop import ShopSound
from recordings_synthetic.spindle import Spindle
from recordings_synthetic.stage import Straight
from recordings_synthetic.truth import Truth, Turning

__all__ = [
    "CHEAP_USB",
    "CONTACT",
    "ENHANCED",
    "OVERDRIVEN",
    "PHONE",
    "PUMPING",
    "AutomaticGain",
    "BrokenBit",
    "Change",
    "Chatter",
    "ChippedFlute",
    "DullBit",
    "Fault",
    "Gantry",
    "LooseSheet",
    "Microphone",
    "Peak",
    "Recording",
    "Room",
    "Shop",
    "ShopSound",
    "Slip",
    "Spindle",
    "StalledAxis",
    "StoppedSpindle",
    "Straight",
    "Suppression",
    "Truth",
    "Turning",
    "lid_closed",
    "moved",
    "record",
    "steady",
]
