"""The report: the story of a run in one file that needs nothing else, and tables and cues beside it."""

import base64
import csv
import io
import json
import re
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile
from contract import SHIPPED, Ended
from journal_bench import begin

from analysis.events import Alarm, Checked, StateChange, to_dict
from analysis.listener import COLUMNS
from monitor.actions.kind import Done
from monitor.actions.message import rehearsal
from monitor.actions.telling import done_to_dict
from monitor.journal import Run, open_run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.kept.job import keep_program
from monitor.kept.labels import label, missed
from monitor.page.plan_svg import plan_view
from monitor.report import report_html
from monitor.report.cues import cues
from monitor.report.tables import events_table
from monitor.story import tell
from monitor.story.pictures import sheet_of, timeline_of
from monitor.story.words import Line, all_said, listed, not_heard
from monitor.testing import FakeClock

Chipsong = Callable[..., Ended]


class Page(HTMLParser):
    """What a page shows, and every address in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element and its addresses."""
        self.tags.add(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "action", "data")]

    def handle_data(self, data: str) -> None:
        """Note what is shown."""
        self.words.append(data)

    @property
    def text(self) -> str:
        """All that is shown."""
        return " ".join(" ".join(self.words).split())


@pytest.fixture
def report(chipsong: Chipsong, kept_run: Run, tmp_path: Path) -> Path:
    """Give the folder with the report, tables and cues of the kept run."""
    label(kept_run, tell(kept_run).incidents[0].index, "loose")
    ended = chipsong("report", "2", "-o", tmp_path / "r.html", "--csv", "--vtt")
    assert ended.status == 0, ended.err
    return tmp_path


def test_the_report_tells_the_story_and_needs_nothing_else(report: Path):
    """Alarm, evidence, lines, verdicts, cautions: all of it, without a script or an address outside."""
    raw = (report / "r.html").read_text()
    page = Page(raw)
    for words in (
        "the bit may be loose",
        "Carry on from",
        "part 1",
        "suspect",
        "It learned how",
        "no safety device",
    ):
        assert words.lower() in page.text.lower()
    assert "Labelled afterwards: loose" in page.text
    assert len(page.addresses) == 5  # timeline, sheet, orders, two sounds
    assert all(address.startswith("data:") for address in page.addresses)
    assert not page.tags & {"script", "link", "iframe", "object"}
    assert "url(" not in raw
    assert "http" not in re.sub(r'"data:[^"]*"', "", raw).replace("http-equiv", "")
    assert len(raw) < 5_000_000


def test_an_alarm_that_was_nothing_asks_for_nothing(kept_run: Run):
    """Once a person said so, the report tells of it, but neither to carry on after it nor what to do."""
    asks = ("After alarm 1 carry on from", "Touch off Z again")
    before = Page(report_html(tell(kept_run))).text
    assert all(words in before for words in asks)
    label(kept_run, tell(kept_run).incidents[0].index, "nothing")
    after = Page(report_html(tell(kept_run))).text
    assert not any(words in after for words in asks)
    assert "Labelled afterwards: nothing" in after
    assert "no safety device" in after


def test_the_sheet_and_the_plan_show_the_alarm_that_asks_for_something(kept_run: Run):
    """Of several the last one, named, and none that a person said was nothing."""
    (first,) = tell(kept_run).incidents
    assert first.alarm.line is not None
    later = replace(first.alarm, at=13.0, onset=12.5, line=replace(first.alarm.line, file=24, last=25))
    with closing(connect(kept_run.folder / DATABASE)) as db:
        row = (later.at, "alarm", json.dumps(to_dict(later)))
        db.execute("INSERT INTO events (at, name, json) VALUES (?, ?, ?)", row)
    label(kept_run, first.index, "nothing")
    story = tell(kept_run)
    drawn, plan = sheet_of(story), plan_view(story)
    assert drawn is not None
    assert plan is not None
    texts = " ".join(text.get_text() for text in (*drawn.texts, *drawn.axes[0].texts))
    assert "alarm 2 of 2: loose (70 % sure), began at 12.5 s" in texts
    assert "the change began on\nline 24" in texts
    assert plan.marks[0].text == "alarm 2 began on line 24"
    assert (len(plan.marks), plan.how_far) == (2, "until the change of alarm 2 began")
    label(kept_run, story.incidents[1].index, "nothing")
    story = tell(kept_run)
    drawn, plan = sheet_of(story), plan_view(story)
    assert drawn is not None
    assert plan is not None
    assert "began" not in " ".join(text.get_text() for text in (*drawn.texts, *drawn.axes[0].texts))
    assert (plan.marks, plan.how_far) == ((), "as far as its place was known")


def test_the_sounds_in_the_report_are_those_around_the_alarm(report: Path, kept_run: Run):
    """Before and since are made louder by the same amount and are otherwise what the run kept."""
    onset = tell(kept_run).incidents[0].alarm.onset
    sounds = re.findall(r"data:audio/flac;base64,([^\"]*)", (report / "r.html").read_text())
    before, since = (soundfile.read(io.BytesIO(base64.b64decode(sound)), dtype="float32") for sound in sounds)
    assert before[1] == since[1] == kept_run.rate
    played, first = np.concatenate([before[0], since[0]]), round(onset * kept_run.rate) - len(before[0])
    kept = kept_run.sound(first, first + len(played))
    gain = float(played @ kept / (kept @ kept))
    np.testing.assert_allclose(played, gain * kept, atol=1e-4)


def test_the_tables_hold_every_event_and_part(report: Path, kept_run: Run):
    """A row for each event with what the journal kept of it, for what people said, and for each part."""
    story = tell(kept_run)
    events = list(csv.DictReader((report / "r-events.csv").read_text().splitlines()))
    assert [float(row["at"]) for row in events] == [line.at for line in all_said(story)]
    (alarm,) = [row for row in events if row["event"] == "alarm"]
    known = story.incidents[0].alarm
    assert known.line is not None
    assert (int(alarm["line"]), alarm["cause"], alarm["label"]) == (known.line.file, "loose", "loose")
    parts = list(csv.DictReader((report / "r-parts.csv").read_text().splitlines()))
    assert [(row["part"], row["verdict"]) for row in parts] == [("part 1", "suspect")]


def test_a_report_needs_a_name(chipsong: Chipsong, kept_run: Run):
    """A folder is none; that is one line, which says what to say."""
    for folder in (".", "/"):
        ended = chipsong("report", kept_run.id, "-o", folder)
        assert (ended.status, ended.err.count("\n")) == (1, 1)
        assert "is a folder: say a file in it" in ended.err


def test_the_table_tells_what_came_of_a_check_and_beside_what(home: Path, clock: FakeClock):
    """As words of the contract: whether the bit was tight can be told without reading sentences."""
    with begin(home, clock) as journal:
        for at, verdict in ((2.0, "doubtful"), (9.0, "tight")):
            check = to_dict(Checked(at, "physics", verdict, ("half orders stand out",)))
            journal.event("checked", at, check)
    rows = list(csv.DictReader(events_table(tell(open_run(home, journal.id))).splitlines()))
    assert [(row["event"], row["verdict"], row["against"]) for row in rows] == [
        ("checked", "doubtful", "physics"),
        ("checked", "tight", "physics"),
    ]


def test_the_cues_follow_webvtt(report: Path):
    """The header, then cues in order of their begin, each of some length, none with markup."""
    head, *blocks = (report / "r.vtt").read_text().rstrip("\n").split("\n\n")
    assert head.startswith("WEBVTT ")
    times = [
        re.fullmatch(r"(\d\d:\d\d:\d\d\.\d{3}) --> (\d\d:\d\d:\d\d\.\d{3})", block.split("\n")[0])
        for block in blocks
    ]
    assert all(found and found[1] < found[2] for found in times)
    begins = [found[1] for found in times if found]
    assert begins == sorted(begins)
    assert not any("<" in block for block in blocks)
    assert any("THE BIT MAY BE LOOSE" in block for block in blocks)


def test_what_comes_from_outside_is_never_markup(home: Path, clock: FakeClock):
    """A title or a sentence with signs of HTML, or of WebVTT, is shown as it is."""
    evil = "<script>alert(1)</script> --> \n\n x"
    with begin(home, clock, title=evil) as journal:
        for event in (StateChange(0.5, "learn", evil), Alarm(2.0, 1.5, "loose", 0.7, (evil,), 20.0, 18.0)):
            body = to_dict(event)
            journal.event(str(body["event"]), event.at, body)
    story = tell(open_run(home, journal.id))
    assert "script" not in Page(report_html(story)).tags
    assert "<script>" not in cues(story)
    assert "\n\n x" not in cues(story)


def test_a_run_stands_on_one_line_of_the_list(home: Path, clock: FakeClock, chipsong: Chipsong):
    """Whatever its program's file is called."""
    with begin(home, clock, title="tray\nleft") as journal:
        journal.close({"at": 3.0, "alarms": 0})
    assert f"{journal.id}  tray left: 0:03, no alarm\n" in chipsong("runs").out


def test_a_run_without_sound_rows_or_end_is_told_too(
    home: Path, clock: FakeClock, chipsong: Chipsong, tmp_path: Path
):
    """Whatever is missing is said to be missing; nothing is made up."""
    with begin(home, clock, keep_sound=False) as journal:
        body = to_dict(Alarm(2.0, 1.5, "unknown", 0.3, ("it changed",), 20.0, 18.0))
        journal.event("alarm", 2.0, body)
    assert chipsong("report", journal.id, "-o", tmp_path / "r.html").status == 0
    told = Page((tmp_path / "r.html").read_text()).text
    for words in (
        "not brought to its end",
        "No sound was kept",
        "No program is kept",
        "The place is unknown",
    ):
        assert words in told


def test_the_picture_shows_an_alarm_that_is_younger_than_the_last_row(home: Path, clock: FakeClock):
    """A run that was broken off just after its alarm is drawn up to that, and the picture says so."""
    with begin(home, clock, columns=COLUMNS) as journal:
        journal.rows(np.arange(1.0, 9.0), np.zeros((8, len(COLUMNS))))
        for event in (StateChange(9.5, "alarm", "it changed"), Alarm(9.5, 9.0, "loose", 0.7, (), 20.0, 18.0)):
            body = to_dict(event)
            journal.event(str(body["event"]), event.at, body)
    drawn = timeline_of(tell(open_run(home, journal.id)))
    assert drawn is not None
    told = [text.get_text() for text in drawn.texts]
    assert told[0] == "1 alarm in 9.5 s"
    assert any(line.startswith("alarm 1: ") for line in told)


def test_what_people_said_of_a_run_is_told_with_all_else(home: Path, clock: FakeClock):
    """Presses, labels, what was missed, notices, what became of actions: at their times, in the list."""
    with begin(home, clock) as journal:
        for body in (
            to_dict(StateChange(9.0, "learn", "it cuts")),
            {"event": "pressed", "at": 12.0, "kind": "mark", "line": 24},
            {"event": "notice", "at": 7.0, "said": "its gain moves"},
            {"event": "lines", "at": 8.0, "said": "no line numbers come"},
            {"event": "lines", "at": 8.5, "reports": []},
            {"event": "gap", "at": 8.6, "first": 1, "lost": 1, "note": "a gap"},
            done_to_dict(Done("bell", rehearsal("alarm"), ok=False, said="no bell", took=0.1), 13.0),
        ):
            journal.event(str(body["event"]), float(str(body["at"])), body)
        journal.rows([14.0], [[1, 2]])
    run = open_run(home, journal.id)
    missed(run, 10.0)
    story = tell(run)
    told = [(line.at, line.what) for line in all_said(story)]
    assert told == [
        *((7.0, "notice"), (8.0, "lines"), (9.0, "learn"), (10.0, "label")),
        *((12.0, "pressed"), (13.0, "action")),
    ]
    for text in (Page(report_html(story)).text, events_table(story), cues(story)):
        for words in ("line 24 is being cut", "its gain moves", "no line numbers come", "missed", "no bell"):
            assert words in text


def test_a_recut_s_parts_are_said_to_be_counted_anew(
    home: Path, clock: FakeClock, chipsong: Chipsong, tmp_path: Path
):
    """What is called part 1 in a recut may be another one in the original: plan and report both say so."""
    again = tmp_path / "again.ngc"
    chipsong("resume", SHIPPED / "slip_outline.ngc", "--only", "1", "-o", again)
    with begin(home, clock) as journal:
        keep_program(journal.folder, again.name, again.read_bytes())
    said = "RECUT of slip_outline.ngc: part 1: its parts are counted anew"
    assert said in " ".join(chipsong("plan", again).out.split())
    assert said in " ".join(not_heard(tell(open_run(home, journal.id))))
    assert "counted anew" not in chipsong("plan", SHIPPED / "slip_outline.ngc").out


def test_a_run_that_is_being_heard_is_told_so(home: Path, clock: FakeClock, chipsong: Chipsong):
    """In the list, in words and in the report; once it is broken off, that."""

    def told(run: str) -> str:
        page = Page(report_html(tell(open_run(home, run)))).text
        return chipsong("runs").out + chipsong("runs", run).out + page

    with begin(home, clock) as journal:
        now = told(journal.id)
    assert (now.count("being heard now"), now.count("brought to its end")) == (3, 0)
    later = told(journal.id)
    assert (later.count("being heard now"), later.count("brought to its end")) == (0, 3)


def test_a_bit_in_doubt_is_told(home: Path, clock: FakeClock):
    """Whether the bit was found tight, each time, and why: there may be no alarm that tells it."""
    found = (Checked(8.0, "physics", "doubtful", ("it rocks",)), Checked(20.0, "physics", "tight", ("fine",)))
    with begin(home, clock) as journal:
        for event in found:
            journal.event("checked", event.at, to_dict(event))
    story = tell(open_run(home, journal.id))
    assert "00:00:08.000 --> 00:00:13.000\nchecked: doubtful: it rocks\n" in cues(story)
    told = Page(report_html(story)).text
    for words in ("Is the bit tight?", "At 0:08 : IN DOUBT", "it rocks", "At 0:20 : THE BIT SOUNDS TIGHT"):
        assert words.replace(" :", ":") in told.replace(" :", ":")


def test_cues_do_not_take_the_place_of_the_report(
    home: Path, clock: FakeClock, chipsong: Chipsong, tmp_path: Path
):
    """Where both would be one file that is refused in one line, and nothing is written."""
    with begin(home, clock) as journal:
        journal.close({"at": 3.0, "alarms": 0})
    ended = chipsong("report", journal.id, "-o", tmp_path / "r.vtt", "--vtt")
    assert (ended.status, ended.out, ended.err.count("\n")) == (1, "", 1)
    assert "call the report r.html" in ended.err
    assert not (tmp_path / "r.vtt").exists()


def test_what_is_left_out_of_a_long_list_is_nothing_that_matters():
    """Alarms, deafness and what people said stand in it, however late they come."""
    said = [Line(float(at), "learn", "", always=at >= 7) for at in range(9)]
    lines, left_out = listed(said, 5)
    assert ([line.at for line in lines], left_out) == ([0.0, 1.0, 2.0, 7.0, 8.0], 4)


@pytest.mark.usefixtures("kept_run")
def test_a_run_that_is_not_there_is_one_line(chipsong: Chipsong, tmp_path: Path):
    """The error names what there is, and nothing is written."""
    ended = chipsong("report", "1999", "-o", tmp_path / "r.html")
    assert (ended.status, ended.err.count("\n")) == (1, 1)
    assert not (tmp_path / "r.html").exists()


def test_a_run_of_which_the_bits_are_not_known_has_a_report_without_its_sheet(kept_run: Run):
    """Runs of old do not tell how wide their bits are."""
    meta = {key: value for key, value in kept_run.meta.items() if key != "bits"}
    shown = Page(report_html(tell(replace(kept_run, meta=meta))))
    assert "To measure, or to cut again" in shown.text
    assert len(shown.addresses) == 4  # timeline, orders, two sounds
