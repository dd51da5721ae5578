"""``chipsong review``: serve the pages about kept runs until somebody ends it."""

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.journal import home, open_run
from monitor.listening import asked_to_end
from monitor.page.guard import Door
from monitor.page.reviewing import Review, refused
from monitor.page.serving import Server, shown
from monitor.sharing import Sharing

_LOOK = 0.2  # s


def review_app(folder: Path, door: Door) -> Starlette:
    """Return the pages about the runs in ``folder``."""

    def first(request: Request) -> Response:
        del request
        return RedirectResponse(f"{door.prefix}/runs", status_code=307)

    routes = [Route("/", first), *Review(folder, door).routes()]
    return pages(routes)


def pages(routes: Sequence[Route]) -> Starlette:
    """Return an application of these addresses and no others."""
    app = Starlette(routes=routes, exception_handlers={HTTPException: refused, Exception: refused})
    app.router.redirect_slashes = False
    return app


def review(run: str | None, sharing: Sharing) -> None:
    """
    Serve the pages until Ctrl-C.

    Parameters
    ----------
    run
        Which run's address is told; the list's if ``None``.
    sharing
        Who may see them.

    Raises
    ------
    ChipsongError
        When there is no such run, or nothing can be served.
    """
    kept = open_run(home(), run) if run else None
    with asked_to_end() as asked, Server(lambda door: review_app(home(), door), sharing) as server:
        path = f"runs/{quote(kept.id)}" if kept else ""
        sys.stdout.write(f"{shown(server, path, sharing)}\nEnd with Ctrl-C.\n")
        sys.stdout.flush()
        while not asked():
            time.sleep(_LOOK)
