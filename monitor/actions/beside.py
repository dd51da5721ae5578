"""Actions beside the listening: they are told at once, and what became of them is shown and kept."""

import queue
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress

from analysis.events import Event
from analysis.listener import Listener
from monitor.actions.crew import Crew
from monitor.actions.kind import Action, Done
from monitor.actions.telling import done_text
from monitor.standstill import Standstill
from monitor.watch import Ears

# s that actions get to finish when the run has ended.
_AT_THE_END = 3.0


def action_ears(actions: Sequence[Action], show: Callable[[str], None]) -> Ears:
    """
    Return ears that let actions fire; the workers start at once, and are told where the listening hangs.

    Parameters
    ----------
    actions
        What is to happen, and when.
    show
        Gets a line on what became of each, on the thread that listens.
    """
    if not actions:
        return Ears()
    told: queue.SimpleQueue[Done] = queue.SimpleQueue()
    crew = Crew(actions, told.put)
    standstill = Standstill(crew.tell)

    def at_once(event: Event) -> None:
        standstill.see(event)
        crew.tell(event)

    def progress(listener: Listener) -> None:
        standstill.at = listener.at

    def asked() -> tuple[()]:
        standstill.alive()
        return ()

    def done(last: bool) -> Iterator[Done]:
        if last:
            with suppress(KeyboardInterrupt):  # whoever does not want to wait still gets the summary
                crew.finish(_AT_THE_END)
        while not told.empty():
            became = told.get()
            show(done_text(became))
            yield became

    return Ears(at_once=at_once, progress=progress, asked=asked, done=done, ends=standstill.end)
