"""Actions beside the listening: they are told at once, and what became of them is shown and kept."""

import queue
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace

from monitor.actions.crew import Crew
from monitor.actions.kind import Action, Done
from monitor.actions.telling import done_text
from monitor.watch import Ears

# s that actions get to finish when the run has ended.
_AT_THE_END = 3.0


def with_actions(ears: Ears, actions: Sequence[Action], show: Callable[[str], None]) -> Ears:
    """
    Return ears that also let actions fire; the workers start at once.

    Parameters
    ----------
    ears
        Who else is told.
    actions
        What is to happen, and when.
    show
        Gets a line on what became of each, on the thread that listens.
    """
    if not actions:
        return ears
    told: queue.SimpleQueue[Done] = queue.SimpleQueue()
    crew = Crew(actions, told.put)

    def done(last: bool) -> Iterator[Done]:
        if last:
            with suppress(KeyboardInterrupt):  # whoever does not want to wait still gets the summary
                crew.finish(_AT_THE_END)
        while not told.empty():
            became = told.get()
            show(done_text(became))
            yield became

    return replace(ears, at_once=crew.tell, done=done)
