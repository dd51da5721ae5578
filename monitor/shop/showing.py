"""``chipsong shop``: all machines on the terminal, as lines, or as JSON."""

import json
import sys
import textwrap
import time
from collections.abc import Mapping
from contextlib import AbstractContextManager, ExitStack, nullcontext
from typing import TYPE_CHECKING, Any

from analysis.events import from_dict
from monitor.actions.libraries import needed
from monitor.listening import asked_to_end
from monitor.output import printable
from monitor.screen.keys import is_in_front, single_keys
from monitor.sharing import Sharing
from monitor.shop.address import Shop
from monitor.shop.machines import Machines, News, Row, several
from monitor.shop.receiving import Receiver
from monitor.status import Status
from monitor.trouble import warn
from monitor.words import clock, event_text

if TYPE_CHECKING:
    from rich.console import RenderableType

# s from one look to the next, and from one picture to the next.
_LOOK, _DRAW = 0.1, 0.5
# s of standing still after which what is shown is old.
_STILL = 3.0

# A broker that lets somebody hear nothing does not say so.
_THERE = "the broker is there; machines are shown as far as it lets this user hear them"

# How each word stands out, by its shape as well.
_MARKS = {
    "alarm": ">>> ALARM <<<",
    "two machines": "!!! TWO MACHINES",
    "gone": "--- GONE ---",
    "not heard of": "??? NOT HEARD OF",
    "broke off": "--- BROKE OFF ---",
    "deaf": "!!! DEAF !!!",
}
_STYLES = {
    "alarm": "bold reverse",
    "two machines": "bold reverse",
    "gone": "bold reverse",
    "not heard of": "bold",
    "broke off": "bold",
    "deaf": "bold",
}


def show_shop(
    shop: Shop, *, as_json: bool, seconds: float | None = None, sharing: Sharing | None = None
) -> Status:
    """
    Show the machines of a shop until Ctrl-C, or for some seconds.

    Parameters
    ----------
    shop
        Where they are.
    as_json
        Whether to write one object a line.
    seconds
        For how long; ``None`` for ever.
    sharing
        Who may see a page of them; ``None`` for no page.

    Returns
    -------
    Status
        Failed where the broker was not there, or refused, at the end of these seconds: then that nothing is
        told is no news. Who ends it by hand has seen it.

    Raises
    ------
    ActionError
        When the library that talks to brokers is not installed: an empty list would look like good news.
    """
    needed("paho.mqtt.client")
    machines, seen = Machines(), Seen()
    board = None if as_json or not is_in_front(sys.stdout) else _Board(shop)
    end = float("inf") if seconds is None else time.monotonic() + seconds
    page = _page(shop, seen, sharing, board)
    with asked_to_end() as asked, page, Receiver(shop) as receiver, board or nullcontext():
        trouble = ""
        while not asked() and time.monotonic() < end:
            for news in take_in(receiver, machines):
                if board is None:
                    _write(json.dumps(news) if as_json else news_text(news))
            seen.put(machines.rows(time.monotonic()), receiver.trouble)
            if board is not None:
                board.draw(seen.rows, seen.trouble)
            elif receiver.trouble != trouble:
                trouble = receiver.trouble
                warn(f"the shop, {shop.name}: {trouble or _THERE}")
            time.sleep(_LOOK)
        return Status.FAILED if receiver.trouble and not asked() else Status.FINE


class Seen:
    """What is seen of a shop now; the page's thread reads it."""

    def __init__(self) -> None:
        self.put([], "nothing has come yet")

    def put(self, rows: list[Row], trouble: str) -> None:
        """See these."""
        self.rows, self.trouble, self._at = rows, trouble, time.monotonic()

    @property
    def hangs(self) -> bool:
        """Whether nothing has been put here for so long that what is here is old."""
        return time.monotonic() - self._at > _STILL


def _page(
    shop: Shop, seen: Seen, sharing: Sharing | None, board: "_Board | None"
) -> AbstractContextManager[object]:
    """Return what serves the page, if it is wanted; its address is told."""
    if sharing is None:
        return nullcontext()
    from monitor.page.serving import Server, shown  # noqa: PLC0415 - only where there is a page
    from monitor.shop.page import shop_app  # noqa: PLC0415

    server = Server(lambda door: shop_app(shop, seen, door), sharing)
    if board is None:
        sys.stderr.write(f"{shown(server, '', sharing)}\n")
        sys.stderr.flush()
    else:
        board.foot = shown(server, "", sharing)
    return server


def take_in(receiver: Receiver, machines: Machines) -> list[News]:
    """Take in what came, ask for what is missing, and return the news."""
    now, news = time.monotonic(), list[News]()
    for came in receiver.take():
        kept_at = time.time() if came.retained else None
        news += machines.take(came.topic, came.payload, now, kept_at=kept_at)
    news += machines.look(now)
    if not receiver.trouble:
        receiver.ask(machines.asks(now))
    return news


def _write(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def news_text(news: Mapping[str, Any]) -> str:
    """Return a change or an event in words, in one line."""
    when = time.strftime("%H:%M:%S")
    if news["event"] == "state":
        said = f"{mark(news['word'])}  {news.get('because', '')}" + _at(news.get("place"), news.get("part"))
    else:
        said = _event_line(news) + (f" (late: it was {_wall(str(news['time']))})" if news.get("late") else "")
    return printable(f"{when}  {news['machine']:16} {said}")


def mark(word: str) -> str:
    """Return a state's word as it is to stand out."""
    return _MARKS.get(word, word.upper())


def _event_line(news: Mapping[str, Any]) -> str:
    """Return an event in words; by its name alone where a newer version, or none of ours, wrote it."""
    keys = {key: value for key, value in news.items() if key not in _OURS}
    try:
        lines = [line.strip() for line in event_text(from_dict(keys)).splitlines() if line.strip()]
        return lines[0]
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError):
        return str(news["event"])


_OURS = ("machine", "run", "seq", "time", "late")


def _at(place: Mapping[str, Any] | None, part: str | None) -> str:
    told = f", line {place['file']}" if place else ""
    return told + (f", {part}" if part else "")


def _wall(time_said: str) -> str:
    """Return the time of day of a time as machines write it."""
    return time_said[11:19]


def cells(row: Row) -> tuple[str, ...]:
    """Return what is shown of a machine: its name, how it is, and what else there is to say, a line each."""
    state, told = row.state, []
    if row.both:
        told.append(several(row.machine, row.both))
    elif state is not None:
        before = f"it was {state.state}: " if row.word in ("gone", "not heard of") else ""
        told.append(f"since {_wall(state.since)}: {before}{state.because}")
        place = state.place.model_dump() if state.place else None
        where = _at(place, state.part).removeprefix(", ") or "place unknown"
        told.append(
            f"{where}; {min(100 * state.score, 999):.0f} % of an alarm" + (state.title and f"; {state.title}")
        )
    if row.last is not None:
        told.append(f"last: {_wall(row.last.time)} {' '.join(_event_line(row.last.plain()).split()[1:])}")
    if row.silent > _SILENT:
        told.append(
            f"nothing was heard of it for {clock(row.silent)}" if row.silent < _NEVER else "never heard of"
        )
    # What is calm takes one line, so that twenty machines are seen at once.
    shown = told if row.urgent else ["; ".join(told[1::-1])]
    return tuple(printable(cell) for cell in (row.machine, mark(row.word), *shown))


_SILENT, _NEVER = 6.0, 1e7  # s


class _Board:
    """The table on a terminal."""

    def __init__(self, shop: Shop) -> None:
        from rich.console import Console  # noqa: PLC0415 - loads slowly
        from rich.live import Live  # noqa: PLC0415

        self._shop = shop
        self._due = 0.0
        self.foot = ""
        self._live = Live(console=Console(), screen=True, auto_refresh=False)
        self._terminal = ExitStack()

    def __enter__(self) -> None:
        """Take the terminal; no key may make it stand still."""
        self._terminal.enter_context(single_keys(sys.stdout))
        self._terminal.enter_context(self._live)

    def __exit__(self, *_: object) -> None:
        """Give it back."""
        self._terminal.close()

    def draw(self, rows: list[Row], trouble: str) -> None:
        """Draw the machines, if it is time to."""
        if time.monotonic() >= self._due:
            self._due = time.monotonic() + _DRAW
            width, room = self._live.console.size
            drawn = picture(self._shop, rows, trouble, room, self.foot, width=width)
            self._live.update(drawn, refresh=True)


def picture(  # noqa: PLR0913 - what is shown, and the window's size
    shop: Shop, rows: list[Row], trouble: str, lines: int = 1000, foot: str = "", *, width: int = 1000
) -> "RenderableType":
    """
    Return the machines as a table, as many as there is room for on so many lines, and a foot below.

    Of the foot no more than its first line takes room from a machine; where room ends its code goes first.
    """
    from rich.console import Group  # noqa: PLC0415 - loads slowly
    from rich.table import Table  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    table = Table(expand=True, box=None, padding=(0, 1), show_header=False)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True, overflow="ellipsis", ratio=1)
    below = Text.from_ansi(foot)
    whole = below.plain.splitlines()
    brief = [*whole[:1], *[_NO_CODE] * (len(whole) > 1)]
    room = lines - 4 - _rows(brief, width)
    shown = 0
    for row in rows:
        name, word, *told = cells(row)
        room -= max(1, len(told))
        if room < 0:
            break
        style = _STYLES.get(row.word, "")
        table.add_row(Text(name, style), Text(word, style), Text("\n".join(told)))
        shown += 1
    urgent = sum(row.urgent for row in rows)
    head = f"{shop.name}: {len(rows)} machines, {urgent} to look at   {time.strftime('%H:%M:%S')}"
    parts: list[RenderableType] = [Text(printable(head), "bold")]
    if trouble:
        parts.append(Text(printable(f"!!! WHAT STANDS HERE MAY BE OLD: {trouble}"), "bold reverse"))
    parts.append(table)
    if not rows and not trouble:
        parts.append(Text("No machine is heard yet: none is announced here, or this user may not hear them."))
    if shown < len(rows):
        parts.append(Text(f"... and {len(rows) - shown} more, for which there is no room", "bold"))
    parts.append(Text("Ctrl-C ends it. A monitor is no safety device: stay at the machine."))
    if foot:
        spare = room + _rows(brief, width)
        words = [*(line for line in whole if not _CODE.intersection(line)), _NO_CODE]
        fits = words if _rows(words, width) <= spare else brief
        parts.append(below if _rows(whole, width) <= spare else Text("\n".join(fits)))
    return Group(*parts)


# What a code for a phone's camera is drawn with, and what stands for it where there is no room.
_CODE = frozenset("\u2588\u2580\u2584")
_NO_CODE = "A larger window shows a code for a phone's camera here."


def _rows(lines: list[str], width: int) -> int:
    """Return how many rows of a window lines take."""
    return sum(max(1, len(textwrap.wrap(line, width))) for line in lines)
