"""Memory that is free is given back."""

import ctypes
from collections.abc import Callable
from contextlib import suppress

from analysis.listener import Listener

# Seconds of sound after which memory is given back again.
_OFTEN = 600.0


def give_back() -> None:
    """
    Give the system back what is free, where the C library keeps it.

    To find the parts of a large program takes many small pieces of memory for a moment. What GNU's library
    is left with of them would else count as this process's for the hours in which it listens.
    """
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def giving_back(progress: Callable[[Listener], None]) -> Callable[[Listener], None]:
    """
    Return ``progress`` that gives back what is free now and then as well.

    While the place is unknown the arrays of a step are large, and lie between what is kept. It takes a tenth
    of a second: nothing for a replay, but not to be done while somebody waits for an alarm.
    """
    last = 0.0

    def go_on(listener: Listener) -> None:
        nonlocal last
        progress(listener)
        if listener.at - last >= _OFTEN:
            last = listener.at
            give_back()

    return go_on
