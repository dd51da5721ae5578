"""
Invented jobs in poplar plywood, written as RS274/NGC.

::

    trays     the demo job: seedling trays and plant stands
    varied    jobs that differ from seed to seed: trays, stands and shelves
    shapes    pockets, recesses, grooves, holes and outlines, for any bit
    words     how programs are written
"""

from recordings_synthetic.job.trays import (
    BITS,
    STANDS,
    THICKNESS,
    TRAYS,
    Stand,
    Tray,
    one_outline,
    seedling_trays,
)
from recordings_synthetic.job.varied import varied_job

__all__ = [
    "BITS",
    "STANDS",
    "THICKNESS",
    "TRAYS",
    "Stand",
    "Tray",
    "one_outline",
    "seedling_trays",
    "varied_job",
]
