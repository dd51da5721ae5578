"""
The room around the machine, and the microphone.

::

    air          the shop: its background and what else sounds in it
    walls        early echoes and reverberation
    microphone   what microphones there are, and what may happen to them
    ear          a microphone at work
    gain         automatic gain
    suppression  noise suppression
    frames       what both follow the sound with
"""

from recordings_synthetic.room.air import Shop, air_of
from recordings_synthetic.room.ear import Ear
from recordings_synthetic.room.gain import AutomaticGain
from recordings_synthetic.room.microphone import (
    CHEAP_USB,
    CONTACT,
    ENHANCED,
    OVERDRIVEN,
    PHONE,
    PUMPING,
    Change,
    Microphone,
    Peak,
    lid_closed,
    moved,
)
from recordings_synthetic.room.suppression import Suppression
from recordings_synthetic.room.walls import Room

__all__ = [
    "CHEAP_USB",
    "CONTACT",
    "ENHANCED",
    "OVERDRIVEN",
    "PHONE",
    "PUMPING",
    "AutomaticGain",
    "Change",
    "Ear",
    "Microphone",
    "Peak",
    "Room",
    "Shop",
    "Suppression",
    "air_of",
    "lid_closed",
    "moved",
]
