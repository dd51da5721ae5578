"""``chipsong tune``: from labelled runs, when a bit is to alarm; written to the shelf only on yes."""

from monitor.tuning.text import tuning_json, tuning_text
from monitor.tuning.work import Asked, Tuning, changes_shelf, draw, tune, write

__all__ = ["Asked", "Tuning", "changes_shelf", "draw", "tune", "tuning_json", "tuning_text", "write"]
