"""The pages about kept runs: their list, and what was heard in one."""

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from functools import wraps
from importlib.resources import files
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from analysis.errors import ChipsongError, JournalError, ProgramError
from analysis.program import carry_on, recut_program
from analysis.program.written import anew
from monitor.journal import Run, open_run, runs, sorted_out
from monitor.journal.place import DATABASE
from monitor.kept.labels import LABELS, fine, label, missed, misses, not_fine, said_fine
from monitor.page.guard import RECUT, Door
from monitor.page.plan_svg import plan_view
from monitor.page.ranges import ranged
from monitor.page.rendering import STATIC, render
from monitor.page.series import LIMITS, nats, threshold_series, timeline_series
from monitor.report import report_html
from monitor.review import alarms_of
from monitor.shelf.accepting import standing, withdraw
from monitor.story import Incident, Story, tell
from monitor.story.clips import MIME, are_there, clips
from monitor.story.comparing import compared, may_be_compared
from monitor.story.pictures import orders_png
from monitor.story.words import all_said, headline, listed, not_heard, said_since, to_recut
from monitor.words import moment_of

_CSS, _JS = "text/css", "text/javascript"
_STATIC = {"look.css": _CSS, "page.css": _CSS, "review.js": _JS, "live.js": _JS, "shop.js": _JS}
# Runs of a bit that are looked through for the threshold, the newest first, and lines of a run's list.
_RUNS, _LISTED = 20, 500

# What was worked out for a run is kept for as many, so that a page and its pictures read it once.
_REMEMBERED = 3
# Programs: in what letters they are written, who wrote them knows.
_BYTES = "application/octet-stream"


class Review:
    """
    The pages about kept runs.

    Parameters
    ----------
    home
        The folder of all runs.
    door
        Where the page is.
    live
        Whether a run is being heard beside it: then the list leads back to that.
    """

    def __init__(self, home: Path, door: Door, *, live: bool = False) -> None:
        self._home = home
        self._door = door
        self._live = live
        self._told: dict[str, tuple[tuple[int, ...], Story]] = {}
        # One at a time: whoever asks for much, or many who ask at once, must not starve what listens.
        self._busy = threading.Lock()

    def routes(self) -> list[Route]:
        """Return the addresses and what answers there."""
        run, alarm = "/runs/{run}", "/runs/{run}/alarms/{number:int}"
        return [
            Route("/runs", self._one_at_a_time(self._list)),
            Route(run, self._one_at_a_time(self._run)),
            Route(f"{run}/timeline.json", self._one_at_a_time(self._timeline)),
            Route(f"{run}/threshold.json", self._one_at_a_time(self._threshold)),
            Route(f"{run}/report.html", self._one_at_a_time(self._report)),
            Route(f"{run}/{RECUT}", self._recut, methods=["POST"]),
            Route(f"{alarm}/before.flac", self._one_at_a_time(self._before)),
            Route(f"{alarm}/since.flac", self._one_at_a_time(self._since)),
            Route(f"{alarm}/orders.png", self._one_at_a_time(self._orders)),
            Route(f"{alarm}/restart.ngc", self._one_at_a_time(self._restart)),
            Route(f"{alarm}/label", self._label, methods=["POST"]),
            Route(f"{run}/say", self._say, methods=["POST"]),
            Route("/static/{name}", static),
            Route("/plotly.js", plotly),
        ]

    def _one_at_a_time(self, answer: Callable[[Request], Response]) -> Callable[[Request], Any]:
        @wraps(answer)
        async def endpoint(request: Request) -> Response:
            return await run_in_threadpool(self._answer, answer, request)

        return endpoint

    def _answer(self, answer: Callable[[Request], Response], request: Request) -> Response:
        with self._busy:
            try:
                return answer(request)
            except JournalError as error:
                raise HTTPException(404, str(error)) from error
            except ChipsongError as error:
                raise HTTPException(409, str(error)) from error

    # --- which run ----------------------------------------------------------------------------------------

    def _kept(self, request: Request) -> Run:
        """Return the run that is asked for: its whole name, so that no path leads anywhere else."""
        name = request.path_params["run"]
        run = open_run(self._home, name)
        if run.id != name:
            raise HTTPException(404, "there is no such run")
        return run

    def _story(self, request: Request) -> Story:
        run = self._kept(request)
        stamp = _stamp(run)
        if run.id in self._told and self._told[run.id][0] == stamp:
            return self._told[run.id][1]
        story = tell(run)
        if run.closed:
            others = [(name, told) for name, told in self._told.items() if name != run.id]
            self._told = dict([*others, (run.id, (stamp, story))][-_REMEMBERED:])
        return story

    def _incident(self, request: Request) -> tuple[Story, Incident]:
        story, number = self._story(request), request.path_params["number"]
        if not 1 <= number <= len(story.incidents):
            raise HTTPException(404, "there is no such alarm in this run")
        return story, story.incidents[number - 1]

    # --- pages --------------------------------------------------------------------------------------------

    def _page(self, name: str, **values: object) -> HTMLResponse:
        return HTMLResponse(render(name, base=self._door.prefix, live=self._live, **values))

    def _list(self, request: Request) -> Response:
        del request
        kept, others = sorted_out(self._home)
        alarms = {run.id: alarms_of(run) for run in kept}
        return self._page("runs.html", runs=kept, passed_over=others, alarms_of=alarms, home=self._home)

    def _run(self, request: Request) -> Response:
        story = self._story(request)
        lines, left_out = listed(all_said(story), _LISTED)
        return self._page(
            "run.html",
            story=story,
            headline=headline(story),
            plan=plan_view(story),
            lines=lines,
            left_out=left_out,
            not_heard=not_heard(story),
            said_since=said_since(story),
            recut=to_recut(story),
            labels=LABELS,
            misses=misses(story.run),
            said_fine=said_fine(story.run),
            standing=self._standing(story.run),
            sounds={one.number for one in story.incidents if are_there(story.run, one)},
            pictures={one.number for one in story.incidents if may_be_compared(story, one)},
            limits=LIMITS,
        )

    def _standing(self, run: Run) -> list[str]:
        """Return of which references a run is part; what is wrong with one must not hide the run."""
        try:
            return standing(self._home, run.id)
        except ChipsongError as error:
            return [f"Of which references it is part is not known: {error}."]

    def _timeline(self, request: Request) -> Response:
        return JSONResponse(timeline_series(self._story(request)))

    def _threshold(self, request: Request) -> Response:
        """Answer with what another limit would have given, in this run and in others of its bits."""
        story = self._story(request)
        told = [story, *([] if "alone" in request.query_params else self._others(story))]
        return JSONResponse(
            {
                "limits": LIMITS,
                "nats": nats(story),
                "runs": [
                    {"id": one.run.id, "title": one.run.title, "alarms": threshold_series(one)}
                    for one in told
                ],
            }
        )

    def _others(self, story: Story) -> Iterator[Story]:
        """Give the newest other runs of a run's bits; one that cannot be read is passed over."""
        bits = set(story.bits.values())
        closed = (run for run in runs(self._home) if run.closed and run.id != story.run.id)
        return islice((other for other in _readable(closed) if bits & set(other.bits.values())), _RUNS - 1)

    # --- sounds and pictures ------------------------------------------------------------------------------

    def _before(self, request: Request) -> Response:
        return self._sound(request, before=True)

    def _since(self, request: Request) -> Response:
        return self._sound(request, before=False)

    def _sound(self, request: Request, *, before: bool) -> Response:
        story, incident = self._incident(request)
        found = clips(story.run, incident)
        if found is None:
            raise HTTPException(404, "no sound was kept of this alarm")
        return ranged(request, found.before if before else found.since, MIME)

    def _orders(self, request: Request) -> Response:
        found = compared(*self._incident(request))
        if found is None:
            raise HTTPException(404, "too little sound was kept of this alarm")
        return Response(orders_png(found), media_type="image/png")

    def _report(self, request: Request) -> Response:
        story = self._story(request)
        return _download(report_html(story), f"{story.run.id}.html", "text/html; charset=utf-8")

    # --- programs -----------------------------------------------------------------------------------------

    def _restart(self, request: Request) -> Response:
        story, incident = self._incident(request)
        resume = incident.alarm.resume
        if story.program is None or resume is None:
            raise HTTPException(404, "no restart program: the place or the program is unknown")
        content = carry_on(story.program, resume.file).content
        return _download(content, f"restart-at-line-{resume.file}.ngc", _BYTES)

    async def _recut(self, request: Request) -> Response:
        """Answer with a program that cuts parts again; so many may be chosen that no address holds them."""
        names = (await _fields(request)).get("part", [])

        def write(request: Request) -> Response:
            story = self._story(request)
            if story.program is None:
                raise HTTPException(404, "no recut: no program was kept with this run")
            if not names:
                raise ProgramError("no recut: choose a part first")
            numbers = "-".join(name.removeprefix("part ") for name in names[:6])
            content = anew(story.program, recut_program(story.program, names))
            return _download(content, f"recut-{numbers}.ngc", _BYTES)

        return await run_in_threadpool(self._answer, write, request)

    # --- labels -------------------------------------------------------------------------------------------

    async def _label(self, request: Request) -> Response:
        what = (await _form(request)).get("what")

        def write(request: Request) -> Response:
            story, incident = self._incident(request)
            if what not in LABELS:
                raise HTTPException(400, "that is no label")
            label(story.run, incident.index, what)
            withdraw(self._home, story.run)
            return self._back(story.run, f"alarm-{incident.number}")

        return await run_in_threadpool(self._answer, write, request)

    async def _say(self, request: Request) -> Response:
        """Take in that nothing was wrong in a run, that this is taken back, or that something was missed."""
        said = await _form(request)

        def write(request: Request) -> Response:
            run = self._kept(request)
            if said.get("what") == "fine":
                fine(run)
            elif said.get("what") == "not-fine":
                not_fine(run)
                withdraw(self._home, run)
            elif (at := moment_of(said.get("at", ""))) is not None:
                missed(run, at, "nothing" if said.get("what") == "not-missed" else "loose")
                withdraw(self._home, run)
            else:
                raise HTTPException(400, "say since when, as 3:05 or in seconds")
            return self._back(run, "missed")

        return await run_in_threadpool(self._answer, write, request)

    def _back(self, run: Run, place: str) -> Response:
        """Lead back to a run of which something new is known."""
        self._told.pop(run.id, None)
        return RedirectResponse(f"{self._door.prefix}/runs/{quote(run.id)}#{place}", status_code=303)


def _stamp(run: Run) -> tuple[int, ...]:
    """Return what differs once something was written into a run: a label, from a terminal perhaps."""
    stamp: tuple[int, ...] = ()
    for name in (DATABASE, f"{DATABASE}-wal"):
        with suppress(OSError):  # the log goes away once whoever wrote it is done
            state = (run.folder / name).stat()
            stamp += (state.st_size, state.st_mtime_ns)
    return stamp


def _readable(kept: Iterable[Run]) -> Iterator[Story]:
    for run in kept:
        with suppress(JournalError):
            yield tell(run)


async def _form(request: Request) -> dict[str, str]:
    """Return the first value of each field that was sent."""
    return {name: values[0] for name, values in (await _fields(request)).items()}


async def _fields(request: Request) -> dict[str, list[str]]:
    """Return all values of each field that was sent."""
    return parse_qs((await request.body()).decode("utf-8", "replace"))


def static(request: Request) -> Response:
    """Answer with a file of the page itself; only those that are named here are there."""
    name = request.path_params["name"]
    if name not in _STATIC:
        raise HTTPException(404, "there is no such file")
    return Response((STATIC / name).read_bytes(), media_type=_STATIC[name])


def plotly(request: Request) -> Response:
    """Answer with the script that draws the timeline, as the library's own package ships it."""
    del request
    script = files("plotly") / "package_data" / "plotly.min.js"
    return Response(
        script.read_bytes(), media_type="text/javascript", headers={"Cache-Control": "private, max-age=86400"}
    )


def _download(content: str | bytes, name: str, mime: str) -> Response:
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
    return Response(content, media_type=mime, headers=headers)


async def refused(request: Request, error: Exception) -> Response:
    """Answer in words, whatever went wrong."""
    del request
    status, words = 500, f"it failed: {error!r}"
    if isinstance(error, HTTPException):
        status, words = error.status_code, error.detail
    return Response(f"{words}\n", status_code=status, media_type="text/plain; charset=utf-8")
