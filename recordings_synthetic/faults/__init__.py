"""
What goes wrong, one fault a file, and what it does to the bit, the machine and the sheet.

No published spectrum, sound or measurement of a bit slipping in a router's collet was found, and few of the
other faults on a router in wood. What is modelled follows from the mechanics, and says where it is a
HYPOTHESIS. A fault never changes anything before its onset: up to there a recording with it is the one
without it, sample by sample.

::

    fault     what all faults have in common: a beginning, a cause, how they unfold
    trouble   what is wrong at each moment, in the terms of mechanics
    slip      a bit that slips in its collet: abrupt, creeping, intermittent, subtle, from the start
    broken    a bit that breaks off; a flute that chips
    dull      edges that rub more and more
    chatter   vibration that feeds itself
    stall     an axis that stops while the spindle turns
    stop      a spindle that stops while the axes move
    sheet     a sheet that comes loose from the table
"""

from recordings_synthetic.faults.broken import BrokenBit, ChippedFlute
from recordings_synthetic.faults.chatter import Chatter
from recordings_synthetic.faults.dull import DullBit
from recordings_synthetic.faults.fault import Fault, Setting, Spell
from recordings_synthetic.faults.sheet import LooseSheet
from recordings_synthetic.faults.slip import Slip
from recordings_synthetic.faults.stall import StalledAxis
from recordings_synthetic.faults.stop import StoppedSpindle
from recordings_synthetic.faults.trouble import Looseness, Trouble, tight, well

__all__ = [
    "BrokenBit",
    "Chatter",
    "ChippedFlute",
    "DullBit",
    "Fault",
    "LooseSheet",
    "Looseness",
    "Setting",
    "Slip",
    "Spell",
    "StalledAxis",
    "StoppedSpindle",
    "Trouble",
    "tight",
    "well",
]
