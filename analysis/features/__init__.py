"""
One window of sound becomes one row of named numbers: all that the watcher knows of the sound.

::

    ear        how sound is cut into windows, and what is looked for in them
    turning    what is heard to turn: the comb of lines, and the teeth in the swell of the hiss
    lines      the lines that turn with the spindle, and the noise about them
    smoothing  rows smoothed as they come
    rows       the rows, by name
    reader     windows in, rows out
"""

from analysis.features.ear import Ear
from analysis.features.lines import standing
from analysis.features.reader import FeatureReader
from analysis.features.rows import ABSENT, COLUMNS, Rows
from analysis.features.smoothing import Array32, Smoother
from analysis.features.turning import Combs, SpeedReader, Turning, above_lines

__all__ = [
    "ABSENT",
    "COLUMNS",
    "Array32",
    "Combs",
    "Ear",
    "FeatureReader",
    "Rows",
    "Smoother",
    "SpeedReader",
    "Turning",
    "above_lines",
    "standing",
]
