"""What the run's timeline and its threshold need, as plain lists."""

import math
from typing import Any

import numpy as np

from analysis.figures.envelope import Columns
from analysis.figures.looks import STATES
from analysis.figures.spans import gathered
from analysis.recount import LEAST, MOST, recount
from analysis.tuning import FACTORS
from monitor.story import Story

LIMITS = tuple(factor for factor in FACTORS if LEAST <= factor <= MOST)
"""Where the threshold may be put, as shares of the limit that was in force."""


def timeline_series(story: Story) -> dict[str, Any]:
    """Return a run over time; hours of rows are gathered in columns, and no peak is lost."""
    rows = story.rows
    columns = Columns.of(rows.at, story.seconds)
    shown = np.ones(len(rows.at), dtype=np.bool_)
    score = columns.envelope(story.column("score"), shown)
    level = columns.envelope(story.column("level"), shown)
    return {
        "seconds": story.seconds,
        "states": [
            [round(span.begin, 2), round(span.end, 2), span.word] for span in gathered(story.states, columns)
        ],
        "words": {state: look.meaning for state, look in STATES.items()},
        "parts": [[name, begin, end] for name, begin, end in story.parts_at],
        "alarms": [[one.number, one.alarm.onset, one.alarm.at] for one in story.incidents],
        "score": [_plain(score.x), _plain(score.high)],
        "level": [_plain(level.x), _plain(level.mean)],
        "lines": [[place.at for place in story.places], [place.line for place in story.places]],
    }


def threshold_series(story: Story) -> list[list[list[float]]]:
    """Return, for each of `LIMITS`, the alarms there would have been: when, and how high the score went."""
    at, score, cutting = story.rows.at, story.column("score"), story.column("phase") == 2
    return [
        [[round(one.at, 2), round(one.highest, 2)] for one in recount(at, score, cutting, limit=limit)]
        for limit in LIMITS
    ]


def nats(story: Story) -> float | None:
    """Return the limit that was in force, in nats; ``None`` if no alarm tells it."""
    summed = (one.alarm for one in story.incidents if one.alarm.cause in ("loose", "unknown"))
    return next((alarm.threshold for alarm in summed), None)


def _plain(values: "np.ndarray[Any, np.dtype[np.float64]]") -> list[float | None]:
    """Return numbers that JSON has, ``None`` for a gap."""
    return [round(value, 3) if math.isfinite(value) else None for value in values.tolist()]
