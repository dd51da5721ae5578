"""An hour of listening at real time: what was played, what was heard of it, and what it took."""
