"""Memory that is free is given back."""

import ctypes
from contextlib import suppress


def give_back() -> None:
    """
    Give the system back what is free, where the C library keeps it.

    To find the parts of a large program takes many small pieces of memory for a moment. What GNU's library
    is left with of them would else count as this process's for the hours in which it listens.
    """
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)
