"""The page of a shop."""

import time

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from monitor.page.guard import Door
from monitor.page.rendering import render
from monitor.page.review_command import pages
from monitor.page.reviewing import static
from monitor.shop.address import Shop
from monitor.shop.machines import Row
from monitor.shop.showing import Seen, cells

_HANGS = "the command itself stands still"


def shop_app(shop: Shop, seen: Seen, door: Door) -> Starlette:
    """Return the page of what is seen of a shop."""

    def page(request: Request) -> Response:
        del request
        rows, trouble = seen.rows, _HANGS if seen.hangs else seen.trouble
        return HTMLResponse(
            render(
                "shop.html",
                base=door.prefix,
                live=False,
                shop=shop.name,
                machines=[_machine(row) for row in rows],
                urgent=sum(row.urgent for row in rows),
                trouble=trouble,
                clock_says=time.strftime("%H:%M:%S"),
            )
        )

    return pages([Route("/", page), Route("/static/{name}", static)])


def _machine(row: Row) -> dict[str, object]:
    name, mark, *told = cells(row)
    return {"name": name, "mark": mark, "told": told, "urgent": row.urgent}
