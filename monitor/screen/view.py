"""The picture: what is seen, as lines of text that fit a window."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import product
from typing import Literal

from analysis.events import Alarm, Place
from monitor.screen.keys import HELP, SHORT_HELP
from monitor.screen.letters import block_letters, width_of
from monitor.screen.seen import Heard, Seen, cuts, state_now
from monitor.words import (
    CAUSES,
    CAUTIONS,
    UNKNOWN_SPINDLE,
    clock,
    first_of_all,
    next_text,
    place,
    steps_after,
)

Style = Literal["plain", "quiet", "good", "busy", "uneasy", "alarm"]

# Words say everything; the style is on top of it.
_STYLES: dict[str, Style] = {
    "settle": "busy",
    "learn": "busy",
    "listen": "good",
    "uneasy": "uneasy",
    "alarm": "alarm",
    "deaf": "alarm",
}
# Nothing hides these, and what is to be done then.
_LOOK_UP = frozenset({"uneasy", "alarm", "deaf"})
_NOT_COMPARING = frozenset({"settle", "learn", "deaf"})
_LABEL = 8
# Columns that text is wrapped to at least, however narrow the window is.
_LEAST = 10
_LARGEST = 6
_MOST_BAR = 40


@dataclass(frozen=True)
class Line:
    """A line of text, and its style."""

    text: str
    style: Style = "plain"


class _Detail(IntEnum):
    """How much is told."""

    BRIEF = 0
    SOME = 1
    FEW = 2
    ALL = 3


@dataclass(frozen=True)
class _Way:
    """One way to lay it out: columns to a dot of the large word (0: a plain word), gaps, how much is told."""

    scale: int
    gaps: bool
    detail: _Detail


def picture(seen: Seen, width: int, height: int, dot: str) -> list[Line]:
    """
    Return what is seen as ``height`` lines of at most ``width`` columns.

    The word is as large as it can be; where room is short gaps go first, then less is told, then the word
    is a plain one. Where there is still more to say than room, that is said.

    Parameters
    ----------
    seen
        What there is to be seen.
    width, height
        Of the window, in characters.
    dot
        What the large word is drawn with.
    """
    foot = _foot(seen, width)
    room = max(0, height - len(foot))
    if seen.info and not seen.alarm and state_now(seen) not in _LOOK_UP:
        return [*_start(seen, width, room), *foot][:height]
    body: list[Line] = []
    for way in _ways(_word(seen), width):
        body = _body(seen, width, dot, way)
        if len(body) <= room:
            break
    else:
        if (shorter := _in_a_row(seen.trouble, width)) != seen.trouble:
            return picture(replace(seen, trouble=shorter), width, height, dot)
        body = _cut(seen, width, room)
    return [*body, *[Line("")] * (room - len(body)), *foot][:height]


def _ways(word: str, width: int) -> Iterator[_Way]:
    """Give the ways to lay it out, the best first."""
    fits = [scale for scale in range(_LARGEST, 0, -1) if width_of(word, scale) <= width]
    for detail, scale, gaps in product(reversed(_Detail), fits, (True, False)):
        yield _Way(scale, gaps, detail)
    for detail in reversed(_Detail):
        yield _Way(0, gaps=False, detail=detail)


def _word(seen: Seen) -> str:
    """Return the word to be read from afar."""
    return state_now(seen).upper()


def _body(seen: Seen, width: int, dot: str, way: _Way) -> list[Line]:
    style = _STYLES[_word(seen).lower()]
    large = block_letters(_word(seen), way.scale, dot) if way.scale else [f"*** {_word(seen)} ***"]
    pieces = [
        [_title(seen, width)],
        [Line(row, style) for row in large],
        *(_of_alarm(seen, seen.alarm, width, way) if seen.alarm else _of_hearing(seen, width, way)),
    ]
    lines: list[Line] = []
    for piece in filter(None, pieces):
        if lines and way.gaps:
            lines.append(Line(""))
        lines += piece
    return lines


def _cut(seen: Seen, width: int, room: int) -> list[Line]:
    """Return as much as there is room for, that there is more, and the caution that is never left out."""
    # What to do first comes before the name of a file that is wanted last.
    body = _body(replace(seen, done=""), width, "", _Way(0, gaps=False, detail=_Detail.BRIEF))
    more = [Line(_MORE[:width], "uneasy")]
    if len(body) < room:
        return [*body, *more]
    caution = _wrapped("", f"! {_FEED_HOLD}", width, "quiet") if seen.alarm else []
    kept = room - len(more) - len(caution)
    return [*body[:kept], *more, *caution] if kept >= _HEAD else body[:room]


_MORE = "... make the window larger"

# Lines without which nobody knows what it is about: the title and the word.
_HEAD = 2


def _start(seen: Seen, width: int, room: int) -> list[Line]:
    """Return the end of what was told at the start, which is where a page's address stands."""
    head = [_title(seen, width), Line(f"*** {_word(seen)} ***", _STYLES[_word(seen).lower()])]
    told = [line for said in seen.start for line in _wrapped("", said, width)]
    shown = [*head, *told[-max(1, room - len(head)) :]]
    return [*shown, *[Line("")] * (room - len(shown))]


def _title(seen: Seen, width: int) -> Line:
    time = clock(seen.heard.at) if seen.heard else "0:00"
    room = max(0, width - len(time) - 2)
    return Line(f"{seen.title[:room]:{room}}  {time}", "quiet")


def _of_hearing(seen: Seen, width: int, way: _Way) -> Iterator[list[Line]]:
    """Give what is to be seen while there is no alarm, piece by piece."""
    yield _wrapped("", _why(seen), width)
    goes_on = seen.behind if seen.checking or seen.accused else None
    # What to do comes before what is heard.
    if seen.heard and (way.detail or not (seen.accused or goes_on or state_now(seen) in _LOOK_UP)):
        yield [
            *_wrapped("Place", _place(seen.heard.place, seen.heard.part), width),
            *_change(seen, seen.heard, width),
            *_wrapped("Sound", _sound(seen, seen.heard, way), width),
        ]
    if way.detail >= _Detail.FEW and seen.last != seen.accused:
        yield _last(seen, width, way)
    if seen.accused:
        # Whatever else has happened since, who is to stop is told why.
        yield _told("Last" if seen.last == seen.accused else "Doubt", seen, seen.accused, width, way)
    do = next_text(
        state_now(seen),
        cuts=cuts(seen),
        checking=seen.checking,
        doubted=bool(seen.accused),
        mute=seen.mute and not (seen.over or seen.hung),
    )
    yield _wrapped("Do", do, width)
    if goes_on:
        yield _carry_on(seen, goes_on, width, way)
    if way.detail >= _Detail.FEW:
        told = CAUTIONS if way.detail is _Detail.ALL else CAUTIONS[:2]
        yield _cautions(told, width)


def _of_alarm(seen: Seen, alarm: Alarm, width: int, way: _Way) -> Iterator[list[Line]]:
    """Give what is to be seen while an alarm lasts, piece by piece."""
    if _word(seen) != "ALARM":
        yield _wrapped("", _why(seen), width, "alarm")
    since = f"{CAUSES[alarm.cause]} ({100 * alarm.confidence:.0f} % sure), since {clock(alarm.onset)}"
    because = alarm.because[: _EVIDENCE[way.detail]]
    yield [
        *_wrapped("", since, width, "alarm"),
        *(line for said in because for line in _wrapped("Why", said, width)),
        *(line for said in first_of_all(alarm) for line in _wrapped("First", said, width)),
        *(_wrapped("Place", _place(alarm.line, None), width) if way.detail else []),
        *_carry_on(seen, alarm, width, way),
    ]
    yield _steps(seen, alarm, width, way)
    if way.detail is _Detail.ALL and seen.last != seen.accused:
        yield _last(seen, width, way)
    yield _cautions(_AT_AN_ALARM[way.detail], width)


def _carry_on(seen: Seen, alarm: Alarm, width: int, way: _Way) -> list[Line]:
    """Return from where to carry on after an alarm, and what was done at it."""
    done = seen.done.splitlines()[: max(1, way.detail)]
    # A line alone would be taken for where the program itself may be started again.
    how = "no restart " if seen.refused else "" if done else "by restart "
    return [
        *(_wrapped("Resume", f"{how}from {place(alarm.resume)}", width) if alarm.resume else []),
        *(line for said in done for line in _wrapped("", said, width)),
    ]


# Of all cautions the one about the feed hold is never left out.
_FEED_HOLD = CAUTIONS[1]
_AT_AN_ALARM = {
    _Detail.BRIEF: (_FEED_HOLD,),
    _Detail.SOME: (_FEED_HOLD,),
    _Detail.FEW: CAUTIONS[1:3],
    _Detail.ALL: CAUTIONS,
}
_EVIDENCE = {_Detail.BRIEF: 0, _Detail.SOME: 1, _Detail.FEW: 1, _Detail.ALL: None}


def _steps(seen: Seen, alarm: Alarm, width: int, way: _Way) -> list[Line]:
    """Return what to do after an alarm, in order."""
    press = "Press t." if seen.keys else seen.press
    steps = steps_after(alarm.cause, short=way.detail < _Detail.FEW, press=press)
    return [
        line
        for number, step in enumerate(steps, 1)
        for line in _wrapped(f"{number}.".rjust(_LABEL - 1), step, width)
    ]


def _last(seen: Seen, width: int, way: _Way) -> list[Line]:
    return _told("Last", seen, seen.last, width, way)


def _told(label: str, seen: Seen, said: tuple[str, ...], width: int, way: _Way) -> list[Line]:
    """Return something that happened, unless that is why the state is so, and what spoke for it."""
    if said and seen.because in said[0]:
        return []
    style: Style = "alarm" if said and said == seen.accused else "plain"
    return [
        line
        for number, sentence in enumerate((*said[:1], *said[1:][: _EVIDENCE[way.detail]]))
        for line in _wrapped("- " if number else label, sentence, width, style)
    ]


def _why(seen: Seen) -> str:
    if seen.over:
        return "the listening is over, and what is left is being done"
    if seen.hung:
        return (
            f"nothing was taken in for {seen.hung:.0f} s: this computer is too busy, or chipsong hangs; "
            "watch the cut yourself"
        )
    if seen.deaf and _word(seen) == "DEAF":
        return f"{clock(seen.deaf.at)}  {seen.deaf.because}"
    return f"{clock(seen.since)}  {seen.because}"


def _place(where: Place | None, part: str | None) -> str:
    if where is None:
        return "unknown"
    sure = "" if where.first == where.last else f", between {where.first} and {where.last}"
    return f"{place(where)}{f', {part}' if part else ''}{sure}"


def _change(seen: Seen, heard: Heard, width: int) -> list[Line]:
    """Return how far the change has grown, against what is an alarm, as a bar and as a number."""
    if state_now(seen) in _NOT_COMPARING:
        return _wrapped("Change", "nothing is compared now", width)
    number = f" {min(100 * heard.score, 999):.0f} % of an alarm"
    room = min(_MOST_BAR, width - _LABEL - len(number) - 2)
    bar = "#" * round(min(heard.score, 1.0) * room)
    drawn = f"[{bar:.<{room}}]" if room > 0 else ""
    style: Style = "alarm" if heard.score >= 1.0 else "uneasy" if heard.score > 0.5 else "plain"
    return [Line(f"{'Change':{_LABEL}}{drawn}{number}"[:width], style)]


def _sound(seen: Seen, heard: Heard, way: _Way) -> str:
    if state_now(seen) == "deaf":
        return UNKNOWN_SPINDLE
    turns = "no spindle is heard" if heard.speed is None else f"{heard.speed:.0f} rpm"
    does = {"off": "", "air": ", in the air", "cut": ", cutting"}[heard.phase.value]
    if heard.now is None or way.detail < _Detail.FEW:
        return f"{turns}{does}"
    now, normal = heard.now, heard.normal
    learned = f" (learned: {normal.whole:.0f}, {normal.tooth:.0f})" if normal else ""
    return f"{turns}{does}; level {now.whole:.0f} dBFS, tooth-pass {now.tooth:.0f}{learned}"


def _cautions(told: tuple[str, ...], width: int) -> list[Line]:
    return _wrapped("!".rjust(_LABEL - 1), " ".join(told), width, "quiet")


def _foot(seen: Seen, width: int) -> list[Line]:
    keys = HELP if len(HELP) <= width else SHORT_HELP
    told = seen.question or (keys if seen.keys else "Ctrl-C ends it.")
    if seen.over:
        told = "Ctrl-C ends it at once."
    style: Style = "uneasy" if seen.question else "quiet"
    trouble = [Line(line[:width], "uneasy") for line in textwrap.wrap(seen.trouble, max(width, _LEAST))]
    return [*trouble, *(Line(line[:width], style) for line in textwrap.wrap(told, max(width, _LEAST)))]


def _in_a_row(trouble: str, width: int) -> str:
    """Return trouble cut to a row, that it hides nothing of what is to be done: the end tells all of it."""
    most = max(width, _LEAST)
    return trouble if len(trouble) <= most else f"{trouble[: most - 4]} ..."


def _wrapped(label: str, text: str, width: int, style: Style = "plain") -> list[Line]:
    """Return text with a label before it, in as many lines as it needs."""
    indent = _LABEL if label else 0
    lines = textwrap.wrap(text, max(width - indent, _LEAST), break_on_hyphens=False) or [""]
    heads = [f"{label:{indent}}" if indent else "", *[" " * indent] * (len(lines) - 1)]
    return [Line(f"{head}{line}"[:width], style) for head, line in zip(heads, lines, strict=True)]
