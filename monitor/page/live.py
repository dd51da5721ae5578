"""The live page: what is heard now, what to do, and three buttons."""

import asyncio
import json
import time
from collections import deque
from collections.abc import AsyncIterator
from typing import Any, Literal, cast, get_args
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from analysis.events import Alarm, Checked, Event
from analysis.presence import Phase
from monitor.controls import Controls, Press
from monitor.page.guard import Door
from monitor.page.rendering import render
from monitor.page.view import View
from monitor.words import (
    CAUSES,
    TIGHTENED,
    UNKNOWN_SPINDLE,
    clock,
    first_of_all,
    found,
    next_text,
    place,
    steps_after,
)

# s from one message to the next; presses that are heeded in one second.
_EVERY, _PRESSES = 0.5, 5
_KINDS = Literal["nothing", "tightened", "mark"]
_CONFIRMED = {
    "nothing": "You said: that was nothing.",
    "tightened": "You said: tightened, carry on. The first cutting is compared with the good sound.",
    "mark": "You said: line {} is being cut now.",
}

# A spindle that is not heard may turn all the same: somebody may reach in on what stands here.
_SPINDLE = {
    Phase.OFF: "no spindle heard",
    Phase.AIR: "spindle in the air",
    Phase.CUT: "spindle cutting",
}

_PRESS = f'Press "{TIGHTENED}".'

_HANGS = "The listening itself hangs: what stands here is old. Look at the machine."


class Live:
    """
    The live page.

    Parameters
    ----------
    view
        What is heard.
    controls
        Where presses go.
    door
        Where the page is.

    Attributes
    ----------
    readers
        How many browsers follow what is heard.
    """

    def __init__(self, view: View, controls: Controls, door: Door) -> None:
        self._view = view
        self._controls = controls
        self._door = door
        self.readers = 0
        self._told = (0.0, "")
        self._pressed: deque[float] = deque([-10.0] * _PRESSES, maxlen=_PRESSES)

    def routes(self) -> list[Route]:
        """Return the addresses and what answers there."""
        return [
            Route("/", self._page),
            Route("/stream", self._stream),
            Route("/press", self._press, methods=["POST"]),
        ]

    async def _page(self, request: Request) -> Response:
        del request
        told = self._state()
        return HTMLResponse(
            render("live.html", base=self._door.prefix, live=True, told=told, view=self._view)
        )

    async def _stream(self, request: Request) -> Response:
        del request
        return StreamingResponse(self._messages(), media_type="text/event-stream")

    async def _messages(self) -> AsyncIterator[str]:
        """Give the state again and again; whoever reads slowly gets fewer, and holds up nobody."""
        self.readers += 1
        try:
            while not self._view.over:
                yield self._message()
                await asyncio.sleep(_EVERY)
            self._told = (0.0, "")
            yield self._message()
        finally:
            self.readers -= 1

    def _message(self) -> str:
        """Return the state as an event of the stream, made once for all who read at the same time."""
        made, text = self._told
        if time.monotonic() - made > _EVERY / 2:
            text = f"data: {json.dumps(self._state() | {'orders': self._view.orders()})}\n\n"
            self._told = (time.monotonic(), text)
        return text

    def _state(self) -> dict[str, Any]:
        view = self._view
        now, state = view.now, "lost" if view.hangs else view.state
        known = not view.over and state not in ("deaf", "lost")
        turning = known and now.phase is not Phase.OFF
        alarm, behind = view.seen.alarm, view.seen.behind
        # Where it began is where to look; where the cut is by now tells nothing of the fault.
        spot = alarm.line if alarm else now.place
        wide = spot is not None and spot.first < spot.last
        return {
            "clock": clock(now.at),
            "state": state,
            "because": self._because(state, alarm),
            "over": view.over,
            "began": "" if alarm is None else "It began on" if spot else "Where it began:",
            "where": place(spot) if spot else None,
            "between": [spot.first, spot.last] if spot and wide else None,
            "part": view.part(spot),
            "resume": self._resume(behind) if alarm and behind else "",
            "do": self._do(state),
            "alone": self._alone(state),
            "cuts": known and now.phase is Phase.CUT,
            "speed": round(60 * now.speed) if turning and now.speed else None,
            "spindle": _SPINDLE[now.phase] if known else UNKNOWN_SPINDLE,
            "score": round(now.score, 2),
            "history": view.history,
            "alarms": len(view.alarms),
            "lasts": view.seen.alarm is not None,
            "doubted": bool(view.seen.accused),
            "first": " ".join(first_of_all(view.alarms[-1])) if view.alarms else "",
            "steps": steps_after(view.alarms[-1].cause, press=_PRESS) if view.alarms else (),
            "last": self._last(view.last),
            "said": view.said,
        }

    def _resume(self, alarm: Alarm) -> str:
        """Return from where to carry on after an alarm, or why no restart program does."""
        if alarm.resume is None:
            return ""
        return self._view.refused or f"Carry on from {place(alarm.resume)}."

    def _because(self, state: str, alarm: Alarm | None) -> str:
        """Return why the state is so: of an alarm what it is; what speaks for that comes below."""
        told = "" if alarm is None else f"{_title(alarm)}, since {clock(alarm.onset)}"
        if state == "alarm" and told:
            return told
        why = _HANGS if self._view.hangs else self._view.because
        return f"{why.rstrip('.')}. Before that: {told}" if told else why

    def _do(self, state: str) -> str:
        """Return what to do next, where nothing else on the page says it."""
        seen = self._view.seen
        if self._view.over or seen.alarm or state in ("alarm", "deaf", "lost"):
            return ""
        cuts = self._view.now.phase is Phase.CUT
        do = next_text(state, cuts=cuts, checking=seen.checking, doubted=bool(seen.accused))
        # Who is to stop is told why, also where what was said last is other news.
        news = seen.accused and not isinstance(self._view.last, Alarm | Checked)
        return f"{seen.accused[0]}. {do}" if news else do

    def _alone(self, state: str) -> str:
        """Return what to do where nobody listens."""
        if not self._view.over and state not in ("deaf", "lost"):
            return ""
        return next_text("deaf", mute=state == self._view.now.state == "deaf" and not self._view.over)

    def _last(self, event: Event | None) -> dict[str, Any] | None:
        """Return what was said last, in words, with where to get the restart program."""
        if event is None:
            return None
        said = getattr(event, "because", ())
        told: dict[str, Any] = {
            "at": clock(event.at),
            "title": _title(event),
            "because": [said] if isinstance(said, str) else list(said),
            "resume": "",
            "restart": None,
        }
        alarm = event if isinstance(event, Alarm) else self._view.seen.behind
        if alarm and alarm.resume:
            told["resume"] = self._resume(alarm)
            if self._view.run and self._view.program and not self._view.refused:
                at = f"runs/{self._view.run}/alarms/{len(self._view.alarms)}/restart.ngc"
                told["restart"] = f"{self._door.prefix}/{at}"
        return told

    async def _press(self, request: Request) -> Response:
        press = _read((await request.body()).decode("utf-8", "replace"))
        now = time.monotonic()
        if now - self._pressed[0] < 1.0:
            raise HTTPException(429, "too many presses: wait a second")
        self._pressed.append(now)
        self._view.say(_CONFIRMED[press.kind].format(press.line))
        self._controls.press(press)
        return RedirectResponse(f"{self._door.prefix}/", status_code=303)


def _read(body: str) -> Press:
    """Return what a form says was pressed; raise HTTPException if it is nothing that there is."""
    try:
        said = parse_qs(body, max_num_fields=4)
    except ValueError:
        said = {}
    kind, line = said.get("kind", [""])[0], said.get("line", [""])[0].strip()
    if kind not in get_args(_KINDS) or (
        line and not (line.isascii() and line.isdecimal() and len(line) < 10)
    ):
        raise HTTPException(400, "there is no such button")
    try:
        return Press(cast("_KINDS", kind), int(line) if kind == "mark" and line else None)
    except ValueError as error:
        raise HTTPException(400, str(error)) from error


def _title(event: Event) -> str:
    match event:
        case Alarm():
            return f"{CAUSES[event.cause].capitalize()} ({100 * event.confidence:.0f} % sure)"
        case Checked():
            return found(event).capitalize()
    return "Not hearing" if type(event).__name__ == "Deaf" else "Hearing again"
