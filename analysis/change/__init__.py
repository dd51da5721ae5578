"""
Sequential tests for a lasting change, and thresholds for a budget of false alarms.

::

    rules          CUSUM and EWMA, row by row
    run_lengths    how long they run: between false alarms, and until a change is found
    thresholds     from a budget of false alarms to a rule
    correlation    how much rows resemble their neighbours, which thresholds must know
"""

from analysis.change.correlation import independent_share, overlap_correlation, serial_correlation
from analysis.change.rules import Chart, Cusum, Sums, cusum, ewma, ewma_limits
from analysis.change.run_lengths import cusum_run_length, ewma_run_length, least_delay, siegmund_run_length
from analysis.change.thresholds import budget_rows, fastest_rule, hotelling_limit, threshold_for

__all__ = [
    "Chart",
    "Cusum",
    "Sums",
    "budget_rows",
    "cusum",
    "cusum_run_length",
    "ewma",
    "ewma_limits",
    "ewma_run_length",
    "fastest_rule",
    "hotelling_limit",
    "independent_share",
    "least_delay",
    "overlap_correlation",
    "serial_correlation",
    "siegmund_run_length",
    "threshold_for",
]
