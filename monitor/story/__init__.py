"""A kept run as a person wants to be told of it: what happened, what it sounded like, what to do with it."""

from monitor.story.story import Incident, Story, tell

__all__ = ["Incident", "Story", "tell"]
