"""
Whether a microphone is fit to listen with.

`check` finds out, `advise` says what that means and what to change.
"""

from analysis.microphone.advice import Advice, advise
from analysis.microphone.checkup import Checkup, check, floor_level
from analysis.microphone.hum import Hum, hum
from analysis.microphone.own_gain import OwnGain, own_gain
from analysis.microphone.spindle import Spindle

__all__ = [
    "Advice",
    "Checkup",
    "Hum",
    "OwnGain",
    "Spindle",
    "advise",
    "check",
    "floor_level",
    "hum",
    "own_gain",
]
