"""
What was heard and decided is kept, run by run, so that it can be looked at and heard again.

::

    HOME/runs/2026-11-25-0931-outline/
        run.sqlite          what the run was, its events, its feature rows, where its sound lies
        sound/000001.flac   30 s of sound each; the one being written is a WAV file
        program/            a copy of the program that was cut
    HOME/order.txt          the names of all runs, in the order in which they began

Everything is on disk within about a second of being handed over. A program that is killed, even in the
middle of a write, leaves a run that opens. Whether a run is still being kept is told by a lock (`held.py`).
"""

from monitor.journal.near import Around
from monitor.journal.place import home
from monitor.journal.reading import Event, Rows, Run, open_run, run_names, runs, sorted_out
from monitor.journal.writing import Journal

__all__ = ["Around", "Event", "Journal", "Rows", "Run", "home", "open_run", "run_names", "runs", "sorted_out"]
