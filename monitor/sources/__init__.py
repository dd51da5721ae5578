"""
Where sound comes from: a recording or a microphone, in blocks of any size.

Both sources give the same thing, so that live listening and replay feed the same loop. A source never
judges what it hears; it only says, in a block's ``note`` and ``lost``, when samples are missing.
"""

from monitor.sources.block import Block, Source
from monitor.sources.devices import Device, find_microphone, microphones
from monitor.sources.microphone import OVERFLOW, Microphone
from monitor.sources.recording import Recording

__all__ = [
    "OVERFLOW",
    "Block",
    "Device",
    "Microphone",
    "Recording",
    "Source",
    "find_microphone",
    "microphones",
]
