"""The pages in a real browser: on a phone, a tablet and a desk, with nothing that keeps anybody out."""

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
import soundfile
from contract import SHIPPED
from live_run import BIT, Paced, live_run

from analysis.events import Alarm, Checked, Place, ResumeLine, State, StateChange
from analysis.presence import Phase
from analysis.program import read
from monitor.controls import Controls, Press
from monitor.journal import Run
from monitor.kept.labels import labels
from monitor.page.beside import live_app
from monitor.page.live import Live
from monitor.page.review_command import review_app
from monitor.page.serving import Server
from monitor.page.view import Now, View
from monitor.report import report_html
from monitor.sharing import Sharing
from monitor.story import tell

CHROMIUM = shutil.which("chromium")
WIDTHS = [360, 768, 1440]

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed here: apt-get install chromium"),
]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """Give the system's browser, without a window."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - slow to import, and for these tests alone

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(params=WIDTHS)
def page(request: pytest.FixtureRequest, chromium: Any) -> Iterator[Any]:
    """Give a page of each width; an error in a script fails the test."""
    context = chromium.new_context(viewport={"width": request.param, "height": 800}, accept_downloads=True)
    opened, errors = context.new_page(), []
    opened.on("pageerror", lambda error: errors.append(error))  # noqa: PLW0108 - it asks for a signature
    opened.set_default_timeout(60_000)
    yield opened
    context.close()
    assert errors == []


def _check_open_to_all(page: Any) -> None:
    """Nothing is wider than the screen, and axe-core finds nothing that keeps anybody out."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - for these tests alone

    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    found = Axe().run(page).response["violations"]
    told = [(one["id"], [node["target"] for node in one["nodes"]]) for one in found]
    assert told == []


@pytest.mark.parametrize("page", [360], indirect=True)
def test_the_pages_of_kept_runs_are_open_to_all(page: Any, kept_run: Run):
    """The list of runs and a run, opened at each width and in the dark."""
    home = kept_run.folder.parents[1]
    with Server(lambda door: review_app(home, door), Sharing()) as server:
        for width, scheme in (*((width, "light") for width in WIDTHS), (360, "dark")):
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme=scheme)
            page.goto(server.address)
            _check_open_to_all(page)
            _open(page, kept_run)
            _check_open_to_all(page)


@pytest.mark.parametrize("page", [360, 1440], indirect=True)
def test_a_kept_run_is_opened_heard_labelled_recounted_and_recut(page: Any, kept_run: Run):
    """The way of a person with a cup of tea, from the list of runs to the program that cuts a part again."""
    home = kept_run.folder.parents[1]
    with Server(lambda door: review_app(home, door), Sharing()) as server:
        page.goto(server.address)
        _open(page, kept_run)
        _listen(page, "audio[src$='since.flac']")
        _label(page, kept_run)
        _drag(page)
        _recut(page)


def _open(page: Any, run: Run) -> None:
    """Open a run from the list of runs."""
    page.click(f"a[href$='{run.id}']")
    page.wait_for_selector("#timeline[data-drawn]")
    page.wait_for_selector("#timeline .bars")


def _listen(page: Any, which: str) -> None:
    """Play a sound for a moment."""
    sound = page.locator(which).first
    sound.evaluate("async (sound) => { sound.muted = true; await sound.play(); }")
    for _ in range(100):
        if sound.evaluate("(sound) => sound.currentTime > 0.2 && sound.duration > 3"):
            return
        page.wait_for_timeout(100)
    raise AssertionError(which)


def _label(page: Any, run: Run) -> None:
    page.click(".labels button[value='loose']")
    page.wait_for_selector(".labels button[value='loose'][aria-pressed='true']")
    assert list(labels(run).values()) == ["loose"]


def _drag(page: Any) -> None:
    """Drag the limit by mouse and by keyboard: the alarm of the run remains up to its highest score."""
    page.wait_for_selector("#threshold-alarms li")
    assert page.text_content("#threshold-told").startswith("This run would have had one alarm.")
    slider = page.locator("#threshold")
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 8, box["y"] + box["height"] / 2, steps=5)
    page.mouse.up()
    assert float(page.text_content("#threshold-value")) < 0.4
    assert "times as many false alarms" in page.text_content("#threshold-told")
    slider.press("End")
    assert float(page.text_content("#threshold-value")) == 1.45
    page.click("#threshold-all")
    page.wait_for_selector("#threshold-runs tbody tr")


def _recut(page: Any) -> None:
    """Choose the part by tapping it on the sheet, and download the program."""
    part = page.locator("[data-part='part 1'] .edge")
    assert page.text_content("#chosen") == "Chosen: part 1"
    part.dispatch_event("click")
    assert page.is_disabled("#download")
    part.dispatch_event("click")
    with page.expect_download() as downloading:
        page.click("#download")
    assert downloading.value.suggested_filename == "recut-1.ngc"
    assert len(read(Path(downloading.value.path()).read_text()).moves) > 3


@pytest.mark.parametrize("page", [360, 1440], indirect=True)
def test_a_live_run_is_seen_and_each_button_works(page: Any, home: Path):
    """The alarm fills the screen, and what a person says is heeded or refused in words."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    with live_run(home, Sharing(), Paced(samples, rate, speed=6.0, stop_at=13.0)) as run:
        page.goto(run.address)
        page.wait_for_selector("#state[data-state='alarm']")
        page.wait_for_selector("#todo:visible")
        word = page.locator("#word").bounding_box()
        assert word["width"] > 0.5 * min(page.viewport_size["width"], 1200)
        page.locator("#last-title", has_text="may be loose").wait_for()
        assert "line" in page.text_content("#last-resume")
        assert re.fullmatch(r"between \d+ and \d+", page.text_content("#between"))
        _check_from_here_on(page)
        with page.expect_download() as downloading:
            page.click("#restart")
        assert "G0" in Path(downloading.value.path()).read_text()
        # A finger that slips twice.
        page.evaluate("for (const tap of [1, 2]) document.getElementById('press-nothing').click()")
        assert page.text_content("#press-nothing") == "Nothing? Press again"
        page.wait_for_timeout(900)
        assert page.get_attribute("#state", "data-state") == "alarm"
        page.click("#press-nothing")
        page.wait_for_selector("#state:not([data-state='alarm'])")
        page.fill("#mark-line", "9999")
        page.click("#press-mark")
        page.locator("#said", has_text="nothing moves on line 9999").wait_for()
        page.fill("#mark-line", "20")
        page.click("#press-mark")
        page.locator("#said", has_text="line 20").wait_for()
        page.click("#press-tightened")
        page.wait_for_timeout(700)
        if "Press again" in page.text_content("#press-tightened"):  # as long as a cut is heard
            page.click("#press-tightened")
        page.locator("#said", has_text="tightened").wait_for()
        _check_from_here_on(page)
        run.source.ending.set()
        page.locator("#word", has_text="ended").wait_for()
    states = [event.state for event in run.events if isinstance(event, StateChange)]
    assert "alarm" in states
    assert sum(isinstance(event, Alarm) for event in run.events) >= 1


def _check_from_here_on(page: Any) -> None:
    """Check the page as wide as it is and at each width between that and a phone's."""
    size = page.viewport_size
    for width in (width for width in WIDTHS if 360 < width < size["width"]):
        page.set_viewport_size(size | {"width": width})
        _check_open_to_all(page)
    page.set_viewport_size(size)
    _check_open_to_all(page)


@pytest.fixture
def shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[View, str]]:
    """Give what a loop leaves for the page, with no loop behind it, and where the page is."""
    monkeypatch.setattr("monitor.page.view._STILL", 60.0)
    view = View(32_000, {0: BIT})
    with Server(lambda door: live_app(Live(view, Controls(), door), tmp_path, door), Sharing()) as server:
        yield view, server.address


PLACE = Place(312, 450, 308, 316, "sound")
SLIP = Alarm(
    at=9.0,
    onset=8.0,
    cause="loose",
    confidence=0.7,
    because=(
        "the hiss of the cut swells every second revolution, 15 dB more than it did",
        "half orders rose",
    ),
    score=20.0,
    threshold=18.0,
    line=PLACE,
    resume=ResumeLine(293, 450),
)


@pytest.mark.parametrize("page", [360], indirect=True)
@pytest.mark.parametrize("size", [(390, 844), (360, 640), (1280, 800)])
def test_in_an_alarm_the_first_order_is_seen_at_once(
    page: Any, shown: tuple[View, str], size: tuple[int, int]
):
    """On a phone as on a desk nobody has to scroll to read what to do first; why it alarms comes below."""
    view, address = shown
    page.set_viewport_size({"width": size[0], "height": size[1]})
    view.note(SLIP)
    view.note(StateChange(9.0, "alarm", SLIP.because[0]))
    view.now = replace(view.now, place=replace(PLACE, file=390), phase=Phase.CUT, speed=300.0)
    page.goto(address)
    # In one step: the list is written anew when the first message comes.
    where = (
        "(of) => { const b = document.querySelector(of).getBoundingClientRect(); return [b.top, b.bottom]; }"
    )
    (first, ends), (last, _) = (page.evaluate(where, of) for of in ("#steps li", "#last"))
    assert 0 < first < ends <= size[1]
    assert last > first
    # What it is, where it began, and where to carry on stand before that; not where the cut is by now.
    assert page.text_content("#because") == "The bit may be loose (70 % sure), since 0:08"
    assert page.inner_text("#where").split("\n") == ["It began on line 312 (N450)", "between 308 and 316"]
    assert page.text_content("#resume") == "Carry on from line 293 (N450)."
    for told in ("#because", "#where", "#resume"):
        assert page.evaluate(where, told)[1] < first


_FIRST_SECONDS = Checked(9.0, "physics", "doubtful", ("half orders stand out",))
_TIGHTENED = Checked(9.0, "before", "doubtful", ("half orders are not as before",))


@pytest.mark.parametrize("page", [360], indirect=True)
@pytest.mark.parametrize("checked", [_FIRST_SECONDS, _TIGHTENED])
def test_a_doubt_is_shown_and_can_be_settled(page: Any, shown: tuple[View, str], checked: Checked):
    """It looks uneasy, not calm; what the keys say can be said here, until a person said it anywhere."""
    view, address = shown
    page.goto(address)
    page.wait_for_selector("#press-nothing:disabled")
    page.wait_for_selector("#press-tightened:disabled")
    view.note(checked)
    view.note(StateChange(9.0, "uneasy", "the bit is in doubt: look at it"))
    page.wait_for_selector("#state[data-state='uneasy'] .symbol .uneasy:visible")
    assert not page.is_visible("#state .symbol .listen")
    assert page.text_content("#because") == "the bit is in doubt: look at it"
    assert page.text_content("#last-title") == "In doubt - look at the bit before you go on"
    page.wait_for_selector("#press-nothing:enabled")
    page.wait_for_selector("#press-tightened:enabled")
    _check_open_to_all(page)
    view.heeded(Press("mark", 5))
    page.wait_for_timeout(700)
    assert page.is_enabled("#press-nothing")
    view.heeded(Press("nothing"))
    page.wait_for_selector("#press-nothing:disabled")


@pytest.mark.parametrize("page", [360], indirect=True)
def test_one_tap_tightens_no_bit_that_is_heard_to_cut(page: Any, shown: tuple[View, str]):
    """A phone in a pocket taps, too: while a cut is heard a second tap is asked for, as of the keys."""
    view, address = shown
    view.note(SLIP)
    view.note(StateChange(9.0, "alarm", SLIP.because[0]))
    view.now = replace(view.now, phase=Phase.CUT, speed=300.0)
    page.goto(address)
    page.wait_for_selector("#press-tightened:enabled")
    # A finger that slips twice.
    page.evaluate("for (const tap of [1, 2]) document.getElementById('press-tightened').click()")
    assert page.text_content("#press-tightened") == "A cut is heard still. Press again"
    page.wait_for_timeout(700)
    assert view.said == ""
    page.click("#press-tightened")
    page.locator("#said", has_text="tightened").wait_for()
    view.say("")
    view.now = replace(view.now, phase=Phase.OFF)
    page.locator("#spindle", has_text="no spindle heard").wait_for()
    page.click("#press-tightened")
    page.locator("#said", has_text="tightened").wait_for()


@pytest.mark.parametrize("page", [360], indirect=True)
def test_text_of_twice_the_size_fits_the_screen(page: Any, shown: tuple[View, str]):
    """Who has set large letters need not scroll sideways, and the state's word stays in its box."""
    view, address = shown
    page.set_viewport_size({"width": 390, "height": 844})
    view.now = replace(view.now, place=PLACE, phase=Phase.CUT, speed=300.0)
    for state in get_args(State):
        _check_large_letters(page, address, view, state)
    view.over = True
    _check_large_letters(page, address, view, "settle", word="ended")


def _check_large_letters(page: Any, address: str, view: View, state: State, word: str | None = None) -> None:
    """Open the page in a state, whose word may be another, and look whether all fits at twice the size."""
    view.note(SLIP)
    view.note(StateChange(9.0, state, "the spindle is heard at 18030 rpm"))
    page.goto(address)
    page.locator("#word", has_text=word or state).wait_for()
    page.evaluate("document.documentElement.style.fontSize = '212.5%'")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.evaluate("document.getElementById('state').scrollWidth") <= page.evaluate(
        "document.getElementById('state').clientWidth"
    )
    inner, box = page.locator("#word").bounding_box(), page.locator("#state").bounding_box()
    assert box["x"] < inner["x"]
    assert inner["x"] + inner["width"] < box["x"] + box["width"]
    assert page.evaluate("document.getElementById('word').scrollWidth") <= inner["width"] + 1


@pytest.mark.parametrize("page", [360], indirect=True)
def test_the_report_opens_without_a_network(page: Any, kept_run: Run, tmp_path: Path):
    """It asks for nothing but itself, shows its pictures, plays its sounds, and keeps nobody out."""
    path, asked = tmp_path / "report.html", []
    path.write_text(report_html(tell(kept_run)))
    page.context.set_offline(offline=True)
    page.on("request", lambda request: asked.append(request.url[:8]))
    page.goto(path.as_uri())
    assert {url for url in asked if not url.startswith("data:")} == {"file:///"}
    assert page.evaluate("[...document.images].every((image) => image.complete && image.naturalWidth > 500)")
    _listen(page, "audio")
    _check_open_to_all(page)


@pytest.mark.parametrize("page", [360], indirect=True)
def test_a_page_that_lost_touch_says_so(page: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """When the server is gone, what stands on the page is old: it must not look calm."""
    monkeypatch.setattr("monitor.page.view._STILL", 60.0)  # no loop stands behind this view
    view = View(32_000, {0: BIT})
    with Server(lambda door: live_app(Live(view, Controls(), door), tmp_path, door), Sharing()) as server:
        page.goto(server.address)
        view.now = Now(1.0, "listen", "comparing", phase=Phase.CUT, speed=300.0)
        page.wait_for_selector("#state[data-state='listen']")
        assert page.text_content("#small").split() == ["0:01", "spindle", "cutting", "18000", "rpm"]
    page.wait_for_selector("#state[data-state='lost']")
    assert "lost touch" in page.text_content("#because")
    assert page.text_content("#spindle") == "nothing is known of the spindle"
    assert page.text_content("#speed") == ""
    _check_open_to_all(page)
