"""
What is in a program, told before it is cut.

`whole` puts it together: times, stops, parts; `bits` tells what each bit does; `baselines` where in the
program the watcher will have heard enough of a bit; `units` in which unit the program is written.
"""

from analysis.contents.baselines import Learned, Unlearned
from analysis.contents.bits import BitUse, Chip, Known, Spell, Tool, Usual, tool_name
from analysis.contents.whole import MOST_MOVES, Contents, PartUse, Stop, contents_of

__all__ = [
    "MOST_MOVES",
    "BitUse",
    "Chip",
    "Contents",
    "Known",
    "Learned",
    "PartUse",
    "Spell",
    "Stop",
    "Tool",
    "Unlearned",
    "Usual",
    "contents_of",
    "tool_name",
]
