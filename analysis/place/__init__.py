"""
The place in the program by sound: a filter over the program's own clock and the pace of the machine.

::

    track    the program as a row of cells, each a twentieth of a second of its clock
    paces    how the place moves from cell to cell, for every pace that is thought possible
    levels   what air and cut sound like, learned on the way by every place that is thought possible
    halts    where the spindle was stopped though the program does not stop it: there it goes on
    grid     the filter: a probability for each cell and pace, and the way back over the last seconds
    silences for how long the program cuts nothing, and where
    marks    what was passed over, heard being cut, suspect
    locator  rows in, places out
"""

from analysis.place.locator import SoundLocator

__all__ = ["SoundLocator"]
