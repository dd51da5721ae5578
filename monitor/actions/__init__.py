"""
What happens at an alarm, or when nothing is heard: what the user set up in ``actions.toml``, and no more.

::

    events -> Crew -> a worker for each action -> Kind.fire -> Done -> screen, journal

`Crew.tell` only puts an event where the workers find it. What hangs holds up nobody but itself.
"""

from monitor.actions.crew import Crew
from monitor.actions.kind import Action, ActionError, Done, Kind
from monitor.actions.message import Message
from monitor.actions.reading import ACTIONS, read_actions

__all__ = ["ACTIONS", "Action", "ActionError", "Crew", "Done", "Kind", "Message", "read_actions"]
