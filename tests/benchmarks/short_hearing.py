"""
``bench_hearing.py`` whose programs are short, for the test of the command.

Each job is two zigzags, and against the least delay two changes are tried a few times. All else is as it is:
simulated, heard, kept, reported.
"""

import sys
from dataclasses import replace

import bench_hearing
import numpy as np
from hearing import least, programs, watchers_rule
from hearing.conditions import CONDITIONS
from hearing.programs import ONE, Job

_ROW = "G0 X10 "
_measure, _changes = least.measure, watchers_rule.changes


def zigzags(rng: np.random.Generator) -> Job:
    """Return the first two rows of `corners`: some twenty seconds of cutting, enough for a bit to slip in."""
    head, first, second, *_ = programs.corners(rng).text.split(_ROW)
    text = f"{head}{_ROW}{first}{_ROW}{second}M5\nG0 X0 Y0\nM30\n%\n"
    return Job(text, text, ONE)


def measure(rule, changes, *, alarms, seed):
    """Measure the rule by a tenth of the alarms."""
    return _measure(rule, changes, alarms=alarms // 10, seed=seed)


# As this is imported, so that it is so in processes that are not forked, too.
for _number, _condition in CONDITIONS.items():
    CONDITIONS[_number] = replace(_condition, job=zigzags)
least.measure = measure
watchers_rule.changes = lambda correlation: _changes(correlation)[-2:]

if __name__ == "__main__":
    sys.exit(bench_hearing.main(sys.argv[1:]))
