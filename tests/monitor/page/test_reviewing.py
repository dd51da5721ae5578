"""The pages about kept runs: what was heard, downloads, labels, and nothing but the runs themselves."""

import io
import json
import shutil
from contextlib import closing
from urllib.parse import quote

import numpy as np
import pytest
import soundfile
from restarting import restart_program
from starlette.testclient import TestClient

from analysis.program import find_parts, read
from monitor.journal import Run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.kept.labels import label, labels, misses
from monitor.page.guard import Door, Guard
from monitor.page.review_command import review_app
from monitor.shelf.references import Heard, Step, accept_step, read_book
from monitor.story import tell
from monitor.story.clips import clips

HOST = "127.0.0.1:8000"
OURS = {"Host": HOST, "Origin": f"http://{HOST}"}


@pytest.fixture
def browser(kept_run: Run) -> TestClient:
    """Give a browser without scripts at the pages about the test's one run."""
    door = Door(frozenset({HOST}))
    app = Guard(review_app(kept_run.folder.parents[1], door), door)
    return TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False)


def test_the_list_leads_to_the_run_and_the_run_tells_its_story(browser: TestClient, kept_run: Run):
    """All that a person needs stands in the page without any script: evidence, lines, parts, cautions."""
    assert f'href="/runs/{kept_run.id}"' in browser.get("/").text
    page = browser.get(f"/runs/{kept_run.id}").text
    for words in ("the bit may be loose", "Carry on from", "swells", "part 1", "suspect", "no safety device"):
        assert words in page
    assert "<script>" not in page
    assert "style=" not in page


def test_a_run_that_was_broken_off_tells_its_alarm_and_what_it_spoiled(browser: TestClient, kept_run: Run):
    """The list does not pass over it, and its parts are ticked to be cut again."""
    with closing(connect(kept_run.folder / DATABASE)) as db:
        db.execute("DELETE FROM meta WHERE key = 'summary'")
        db.execute("DELETE FROM events WHERE name = 'summary'")
    assert "not brought to its end, one alarm" in browser.get("/").text
    assert 'value="part 1" checked' in browser.get(f"/runs/{kept_run.id}").text


def test_the_sounds_around_an_alarm_can_be_heard_piece_by_piece(browser: TestClient, kept_run: Run):
    """Each is a FLAC file; players may ask for a range of it."""
    at = f"/runs/{kept_run.id}/alarms/1"
    for name in ("before", "since"):
        whole = browser.get(f"{at}/{name}.flac")
        samples, rate = soundfile.read(io.BytesIO(whole.content))
        assert (rate, 3 < len(samples) / rate < 7, np.abs(samples).max() > 0.01) == (
            kept_run.rate,
            True,
            True,
        )
        part = browser.get(f"{at}/{name}.flac", headers={"Range": "bytes=10-19"})
        assert (part.status_code, part.content) == (206, whole.content[10:20])
        assert part.headers["Content-Range"] == f"bytes 10-19/{len(whole.content)}"
        assert browser.get(f"{at}/{name}.flac", headers={"Range": "bytes=-5"}).content == whole.content[-5:]
        assert browser.get(f"{at}/{name}.flac", headers={"Range": "bytes=99999999-"}).status_code == 416
    assert browser.get(f"{at}/orders.png").content.startswith(b"\x89PNG")


def test_sound_that_is_gone_is_not_offered(browser: TestClient, kept_run: Run):
    """The oldest goes first when there is no room: the page says so and shows no player that does nothing."""
    at = f"/runs/{kept_run.id}"
    assert (browser.get(at).text.count("<audio"), "orders.png" in browser.get(at).text) == (2, True)
    for path in (kept_run.folder / "sound").iterdir():
        path.unlink()
    page = browser.get(at).text
    assert ("<audio" in page, "orders.png" in page, "No sound was kept of it." in page) == (
        False,
        False,
        True,
    )


@pytest.mark.parametrize("kept_s", [1, 0])
def test_sound_that_is_missing_is_not_played_as_silence(
    kept_run: Run, monkeypatch: pytest.MonkeyPatch, kept_s: int
):
    """What is there of it is played, and of the two that are to be compared both or none."""
    (incident,) = tell(kept_run).incidents
    sound = kept_run.sound()
    sound[: round((incident.alarm.onset - kept_s) * kept_run.rate)] = np.nan
    monkeypatch.setattr(Run, "sound", lambda _, first, last: sound[first:last])
    found = clips(kept_run, incident)
    if kept_s:
        assert found is not None
        assert len(soundfile.read(io.BytesIO(found.before))[0]) == kept_s * kept_run.rate
    else:
        assert found is None


def test_programs_can_be_downloaded(browser: TestClient, kept_run: Run):
    """The restart program is the one that the command writes; a recut is a program too."""
    story = tell(kept_run)
    assert story.program is not None
    resume = story.incidents[0].alarm.resume
    assert resume is not None
    restart = browser.get(f"/runs/{kept_run.id}/alarms/1/restart.ngc")
    assert restart.text == restart_program(story.program, resume.file)
    assert "attachment" in restart.headers["Content-Disposition"]
    recut = browser.post(f"/runs/{kept_run.id}/recut.ngc", data={"part": "part 1"}, headers=OURS)
    assert len(read(recut.text).moves) > 3
    for asked in ({}, {"part": "part 9"}):
        refused = browser.post(f"/runs/{kept_run.id}/recut.ngc", data=asked, headers=OURS)
        assert (refused.status_code, refused.text.count("\n")) == (409, 1)


def test_a_sheet_of_many_parts_can_be_cut_again(browser: TestClient, kept_run: Run):
    """As many as are ticked: where the slip came early that is all of them."""
    slot = "G0 X{} Y0\nG1 Z-3 F300\nG1 Y5 F1200\nG1 Y0\nG0 Z5\n"
    (kept,) = (kept_run.folder / "program").iterdir()
    kept.write_text(
        "G21 G90\nS18000 M3\nG0 Z5\n" + "".join(slot.format(20 * i) for i in range(200)) + "M30\n"
    )
    every = [f"part {number}" for number in range(1, 201)]
    recut = browser.post(f"/runs/{kept_run.id}/recut.ngc", data={"part": every}, headers=OURS)
    assert recut.status_code == 200
    assert len(find_parts(read(recut.text))) == len(every)


def test_what_is_downloaded_has_the_letters_and_line_ends_of_the_original(browser: TestClient, kept_run: Run):
    """The rest of a program is its bytes; a recut ends its lines as the program does."""
    (kept,) = (kept_run.folder / "program").iterdir()
    raw = kept.read_bytes().replace(b"\nM5\n", b"\n(\xd6se)\nM5\n").replace(b"\n", b"\r\n")
    kept.write_bytes(raw)
    restart = browser.get(f"/runs/{kept_run.id}/alarms/1/restart.ngc").content
    recut = browser.post(f"/runs/{kept_run.id}/recut.ngc", data={"part": "part 1"}, headers=OURS).content
    mark = restart.index(b"(from here on it is the original")
    body = restart[restart.index(b"\r\n", mark) + 2 :]
    assert b"(\xd6se)" in body
    assert raw.endswith(b"\r\n" + body)
    for content in (restart, recut):
        assert content.count(b"\r\n") == content.count(b"\n")


def test_an_alarm_can_be_labelled(browser: TestClient, kept_run: Run):
    """The label is kept with the run, and shown from then on; a word that is none is refused."""
    at = f"/runs/{kept_run.id}/alarms/1/label"
    assert browser.post(at, data={"what": "nothing"}, headers=OURS).status_code == 200
    assert list(labels(kept_run).values()) == ["nothing"]
    assert "You said: <strong>nothing" in browser.get(f"/runs/{kept_run.id}").text
    assert browser.post(at, data={"what": "fine"}, headers=OURS).status_code == 400
    assert browser.post(at, content=b"\xff\xfe=%%%", headers=OURS).status_code == 400
    assert browser.post(at, data={"what": "loose"}, headers={"Host": HOST}).status_code == 403
    assert list(labels(kept_run).values()) == ["nothing"]


def test_a_label_from_elsewhere_is_seen_at_once(browser: TestClient, kept_run: Run):
    """What is said of a run in a terminal stands in the page, and in its report, the next time."""
    at = f"/runs/{kept_run.id}"
    assert "You said: <strong>" not in browser.get(at).text
    assert "Labelled afterwards" not in browser.get(f"{at}/report.html").text
    label(kept_run, tell(kept_run).incidents[0].index, "chatter")
    assert "You said: <strong>chatter" in browser.get(at).text
    assert "Labelled afterwards: <strong>chatter" in browser.get(f"{at}/report.html").text


def test_what_was_missed_and_that_nothing_was_wrong_can_be_said(browser: TestClient, kept_run: Run):
    """Since when is said as a clock shows it; a time that is none, or not in the run, is refused in words."""
    at = f"/runs/{kept_run.id}/say"
    assert browser.post(at, data={"what": "missed", "at": "0:03.5"}, headers=OURS).status_code == 200
    assert misses(kept_run) == {3.5: "loose"}
    assert "missed from 3.5 s on" in browser.get(f"/runs/{kept_run.id}").text
    for wrong, status in (("soon", 400), ("", 400), ("1:2:3:4", 400), ("9:59:59", 404)):
        answer = browser.post(at, data={"what": "missed", "at": wrong}, headers=OURS)
        assert (answer.status_code, answer.text.count("\n")) == (status, 1)
    assert browser.post(at, data={"what": "missed", "at": "5.0001"}, headers=OURS).status_code == 200
    assert (
        'name="at" value="5.000"><button name="what" value="not-missed"'
        in browser.get(f"/runs/{kept_run.id}").text
    )
    assert browser.post(at, data={"what": "not-missed", "at": "5.000"}, headers=OURS).status_code == 200
    assert misses(kept_run) == {3.5: "loose"}
    assert browser.post(at, data={"what": "fine"}, headers=OURS).status_code == 200
    assert misses(kept_run) == {}
    assert list(labels(kept_run).values()) == ["nothing"]
    assert "You said: nothing was wrong" in browser.get(f"/runs/{kept_run.id}").text
    assert browser.post(at, data={"what": "not-fine"}, headers=OURS).status_code == 200
    assert (misses(kept_run), labels(kept_run)) == ({3.5: "loose"}, {})
    assert "You said: nothing was wrong" not in browser.get(f"/runs/{kept_run.id}").text


def test_what_was_missed_takes_a_run_out_of_a_reference(browser: TestClient, kept_run: Run):
    """The page tells whether the run is part of one, and that it is no more."""
    at, home = f"/runs/{kept_run.id}", kept_run.folder.parents[1]
    assert "reference of" not in browser.get(at).text
    shelve(kept_run, "comp")
    accept_step(home, "comp", Step("2026-11-25", kept_run.id, Heard(None, None), {}))
    assert "It is part of the reference of &#39;comp&#39;." in browser.get(at).text
    browser.post(f"{at}/say", data={"what": "missed", "at": "0:03.5"}, headers=OURS)
    assert read_book(home, "comp").accepted() == ()
    assert "It is no part of the reference of &#39;comp&#39; any more." in browser.get(at).text
    (home / "references" / "comp.json").write_text("{")
    assert "Of which references it is part is not known" in browser.get(at).text


def shelve(run: Run, bit: str) -> None:
    """Let a run have been cut with a bit of the shelf."""
    with closing(connect(run.folder / DATABASE)) as db:
        about = json.dumps({**run.meta, "shelved": dict.fromkeys(run.meta["bits"], bit)})
        db.execute("UPDATE meta SET value = ? WHERE key = 'about'", (about,))


def test_a_run_that_cannot_be_opened_is_named_in_the_list(browser: TestClient, kept_run: Run):
    """What is passed over is told below the runs, and why."""
    assert "Passed over" not in browser.get("/runs").text
    damaged = kept_run.folder.with_name("damaged")
    shutil.copytree(kept_run.folder, damaged)
    (damaged / DATABASE).write_bytes(b"no database" * 1000)
    told = browser.get("/runs").text
    assert kept_run.id in told
    assert "Passed over" in told
    assert "run damaged cannot be read" in told


def test_a_recount_gives_what_was_said_and_tells_of_other_limits(browser: TestClient, kept_run: Run):
    """At 1 there are the alarms of the run, at their times; a lower limit is passed no later."""
    told = browser.get(f"/runs/{kept_run.id}/threshold.json").json()
    alarms = told["runs"][0]["alarms"]
    at_one = alarms[told["limits"].index(1.0)]
    said = [one.alarm.at for one in tell(kept_run).incidents]
    assert [at for at, _ in at_one] == pytest.approx(said, abs=0.01)
    firsts = [found[0][0] for found in alarms if found]
    assert firsts == sorted(firsts)
    assert told["nats"] == pytest.approx(tell(kept_run).incidents[0].alarm.threshold, abs=0.01)


def test_a_recount_passes_over_a_run_that_cannot_be_read(browser: TestClient, kept_run: Run):
    """One old run that nobody can read any more does not take the others with it."""
    for name in ("other", "damaged"):
        shutil.copytree(kept_run.folder, kept_run.folder.with_name(name))
    with closing(connect(kept_run.folder.with_name("damaged") / DATABASE)) as db:
        db.execute("UPDATE events SET json = '{\"event\": \"singing\"}' WHERE name = 'alarm'")
    told = browser.get(f"/runs/{kept_run.id}/threshold.json").json()
    assert [run["id"] for run in told["runs"]] == [kept_run.id, "other"]
    assert browser.get("/runs/damaged").status_code == 404


def test_the_timeline_has_states_parts_lines_and_scores(browser: TestClient, kept_run: Run):
    """It is plain JSON, with gaps as null, and of bounded size however long the run was."""
    answer = browser.get(f"/runs/{kept_run.id}/timeline.json")
    told = json.loads(answer.text)
    assert {state for _, _, state in told["states"]} >= {"settle", "learn", "listen", "alarm"}
    assert told["parts"]
    assert max(told["score"][1]) >= 1
    assert told["lines"][1] == sorted(told["lines"][1])
    assert len(answer.text) < 100_000


@pytest.mark.parametrize(
    "path",
    [
        "/runs/%2e%2e%2f", "/runs/%2e%2e", "/runs/..%2f..%2fetc%2fpasswd", "/runs/%00",
        "/runs/{run}/run.sqlite", "/runs/{run}/sound/000001.flac", "/runs/{half}",
        "/runs/{run}/alarms/0/before.flac", "/runs/{run}/alarms/2/since.flac",
        "/runs/{run}/alarms/-1/orders.png",
        "/runs/{run}/alarms/99999999999999999999/restart.ngc", "/static/..%2fguard.py",
        "/static/%2fetc%2fpasswd", "/static/", "/secret",
    ],
)  # fmt: skip
def test_no_path_leads_anywhere_else(browser: TestClient, kept_run: Run, path: str):
    """Neither dots nor slashes, plain or encoded, reach a file; a run goes by its whole name."""
    (kept_run.folder.parents[1] / "secret").write_text("secret words")
    answer = browser.get(path.format(run=quote(kept_run.id), half=kept_run.id[:-3]))
    assert answer.status_code in (404, 405)
    assert "secret words" not in answer.text
    assert len(answer.content) < 400
