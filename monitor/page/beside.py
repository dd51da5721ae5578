"""The live page beside the loop that listens."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from starlette.applications import Starlette

from monitor.controls import Controls
from monitor.journal import home
from monitor.page.guard import Door
from monitor.page.live import Live
from monitor.page.review_command import pages
from monitor.page.reviewing import Review
from monitor.page.serving import Server, shown
from monitor.page.view import View
from monitor.sharing import Job, Sharing
from monitor.sources import Source
from monitor.watch import Ears

_FAREWELL = 1.5  # s that browsers get to hear that the run has ended


def live_app(live: Live, folder: Path, door: Door) -> Starlette:
    """Return the live page, with the pages about the runs in ``folder`` behind it."""
    return pages([*live.routes(), *Review(folder, door, live=True).routes()])


@contextmanager
def page_beside(
    job: Job, source: Source, sharing: Sharing, show: Callable[[str], None]
) -> Iterator[tuple[Ears, Source]]:
    """
    Serve the live page while this is entered; give its ears, and the source that it hears too.

    Parameters
    ----------
    job
        What is being cut.
    source
        Where the sound comes from.
    sharing
        Who may see the page.
    show
        Gets what a person has to know of it.

    Raises
    ------
    ChipsongError
        When it cannot be served.
    """
    view = View(source.rate, job.bits, job.program, job.journal.id if job.journal else None)
    controls = Controls()
    lives: list[Live] = []

    def make(door: Door) -> Starlette:
        lives.append(Live(view, controls, door))
        return live_app(lives[0], home(), door)

    with Server(make, sharing) as server:
        show(shown(server, "", sharing))
        yield replace(view.ears, asked=controls.take), view.tap(source)
        end = time.monotonic() + _FAREWELL
        while lives[0].readers and time.monotonic() < end:
            time.sleep(0.05)
