"""
Other faults than a loose bit: each test hears every row and says what is certain.

::

    finding   what a test says
    chatter   tones that lie off the spindle's orders and a tooth-pass apart
    silent    nothing is cut where a controller tells that it cuts: a broken bit, a stalled axis, a held feed
    stopped   a spindle that stops in the cut
    others    all of them together

None of them may raise a false alarm beside the one that matters, so each waits for what nothing else in a
shop does. Left out, for what is heard of them is heard of tight and sharp bits as well: a flute that chips
(its line once a turn is any bit's runout), a bit that becomes dull (cuts differ by more), a sheet that comes
loose.
"""

from analysis.faults.finding import Finding
from analysis.faults.others import Others

__all__ = ["Finding", "Others"]
