"""The pictures: what a person must find in them, and that decimation loses nothing."""

import subprocess
import sys
import time
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.text import Text
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm, Deaf, Event, Heard, PartVerdict, Place, ResumeLine, StateChange, Summary
from analysis.figures import sheet, timeline
from analysis.figures.clock import lasting, moment
from analysis.figures.envelope import COLUMNS as PICTURE
from analysis.figures.envelope import Columns
from analysis.figures.labels import Board, Box
from analysis.figures.looks import STATES, VERDICTS
from analysis.figures.spans import gathered, state_spans
from analysis.listener import COLUMNS
from analysis.locate import Plan
from analysis.program import read, resume_at

THREE_HOURS = 3 * 3600.0
BITS = {0: Bit("6 mm compression", 6.0, 2, 18000.0)}
ALARM = Alarm(
    at=9.9,
    onset=9.2,
    cause="loose",
    confidence=0.8,
    because=("the spindle line rose 9 dB against tooth-pass",),
    score=4.2,
    threshold=4.2,
    line=Place(21, 350, 19, 24, "sound"),
    resume=ResumeLine(8, None),
)


def rows(seconds: float, per_second: float = 20.0) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Rows of a steady run: two seconds with the spindle off, two in the air, then the cut."""
    at = np.arange(1, round(seconds * per_second) + 1) / per_second
    table = np.zeros((len(at), len(COLUMNS)), dtype=np.float32)
    chance = np.random.default_rng(0)
    for name, value in {"level": -22, "spindle": -14, "between": -15, "half": -18, "modulation": -12}.items():
        table[:, COLUMNS.index(name)] = value + chance.normal(0, 0.7, len(at))
    for name, value in {"peak": 0.2, "spread": 0.4}.items():
        table[:, COLUMNS.index(name)] = value
    table[:, COLUMNS.index("phase")] = np.where(at > 4, 2, np.where(at > 2, 1, 0))
    return at, table


def states(*changes: tuple[float, str]) -> list[Event]:
    """State changes at the given times."""
    return [StateChange(at, state, "") for at, state in changes]


def words(figure: Figure) -> list[str]:
    """Every text in a figure that can be seen."""
    return [text.get_text() for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def said(figure: Figure) -> str:
    """All texts of a figure in one."""
    return "\n".join(words(figure))


def panel(figure: Figure, label: str) -> Axes:
    """The panel whose label at the left holds some words."""
    return next(axes for axes in figure.axes if any(label in text.get_text() for text in axes.texts))


def drawn(axes: Axes) -> NDArray[np.float64]:
    """All finite points of the lines and bands in a panel, shape (n, 2)."""
    lines = [line.get_xydata() for line in axes.lines if len(line.get_xdata()) > 2]
    bands = [path.vertices for band in axes.collections for path in band.get_paths()]
    points = np.concatenate([np.empty((0, 2)), *lines, *bands])
    return points[np.isfinite(points).all(axis=1)]


def bridged(axes: Axes, begin: float, end: float) -> bool:
    """Whether any line or band of a panel goes on across a stretch of time."""
    lines = [line.get_xydata() for line in axes.lines if len(line.get_xdata()) > 2]
    steps = [line[:, 0] for line in lines]
    lined = any(((x[:-1] <= begin) & (x[1:] >= end)).any() for x in steps)
    bands = [path.vertices[:, 0] for band in axes.collections for path in band.get_paths()]
    return lined or any(x.min() <= begin and x.max() >= end for x in bands)


# The run over time


@pytest.fixture(scope="module")
def plain() -> Figure:
    """A run of 15 s without events or parts."""
    return timeline(*rows(15), COLUMNS, [])


@pytest.fixture(scope="module")
def all_states() -> Figure:
    """A run of 18 s, 3 s in each state."""
    changes = [(3.0 * number, state) for number, state in enumerate(STATES) if number]
    return timeline(*rows(18), COLUMNS, states(*changes))


PEAKS = {"level": 7.0, "spindle": 15.0, "between": 16.0, "half": 17.0, "modulation": 18.0, "score": 0.97}
PEAK_ROWS = {name: 20_001 + 30_000 * number for number, name in enumerate(PEAKS)}


@pytest.fixture(scope="module")
def peaks() -> tuple[NDArray[np.float64], Figure]:
    """A run of three hours in which each series has a peak that lasts one row, each at another time."""
    at, table = rows(THREE_HOURS)
    for name, value in PEAKS.items():
        table[PEAK_ROWS[name], COLUMNS.index(name)] = value
    return at, timeline(at, table, COLUMNS, [])


@pytest.mark.parametrize(
    ("label", "unit"),
    [
        ("how near to", "share of the limit"),
        ("loudness", "dBFS"),
        ("spindle line", "dB above noise"),
        ("lines between", "dB above noise"),
        ("half orders", "dB above noise"),
        ("modulation", "dB re full"),
        ("rocking", "dB re full"),
    ],
)
def test_each_panel_says_what_it_shows_and_in_which_unit(plain: Figure, label: str, unit: str):
    """Each panel is named at its left, with its unit in brackets."""
    axes = panel(plain, label)
    assert f"({unit})" in axes.texts[0].get_text()


@pytest.mark.parametrize(
    ("seconds", "unit", "tick"), [(15, "s", "10"), (250, "min:s", "2:00"), (3 * 3600, "h:min", "2:30")]
)
def test_time_is_in_the_unit_that_suits_the_run(seconds: float, unit: str, tick: str):
    """Seconds for a short run, minutes and hours for a long one, and the axis says which."""
    figure = timeline(*rows(seconds, 2), COLUMNS, [])
    axes = panel(figure, "rocking")
    FigureCanvasAgg(figure).draw()
    assert axes.get_xlabel() == f"time since the first sample ({unit})"
    assert tick in [label.get_text() for label in axes.get_xticklabels()]
    assert axes.get_xlim() == (0.0, seconds)


@pytest.mark.parametrize("state", STATES)
def test_each_state_appears_as_a_word(all_states: Figure, state: str):
    """A state that lasts is named in the band, and every state is explained in the key."""
    assert state in [text.get_text() for text in panel(all_states, "the watcher").texts]
    assert f"{state}: {STATES[state].meaning}" in words(all_states)


@pytest.mark.parametrize("looks", [STATES, VERDICTS])
def test_looks_differ_by_more_than_colour(looks: dict):
    """No two states and no two verdicts share a hatch."""
    assert len({look.hatch for look in looks.values()}) == len(looks)


def test_an_alarm_is_darker_than_any_other_state():
    """The alarm stands out in grey print as well (luminance weights of ITU-R BT.709, from memory)."""
    light = {state: np.dot(to_rgb(look.fill), (0.2126, 0.7152, 0.0722)) for state, look in STATES.items()}
    assert light["alarm"] + 0.3 < min(value for state, value in light.items() if state != "alarm")


def test_the_limit_is_drawn_at_one(plain: Figure):
    """The score's limit is a line across the whole panel at 1.0, and it is named."""
    axes = panel(plain, "how near to")
    assert any(np.array_equal(line.get_ydata(), [1.0, 1.0]) for line in axes.lines)
    assert "limit" in [text.get_text() for text in axes.texts]
    assert axes.get_ylim()[1] > 1.0


@pytest.mark.parametrize(
    ("column", "label"),
    [
        ("level", "loudness"),
        ("spindle", "spindle line"),
        ("between", "lines between"),
        ("half", "half orders"),
        ("modulation", "modulation"),
        ("score", "how near to"),
    ],
)
def test_one_row_s_peak_in_three_hours_survives(
    peaks: tuple[NDArray[np.float64], Figure], column: str, label: str
):
    """A peak that lasts 0.05 s is drawn at its time and to its full height."""
    at, figure = peaks
    points = drawn(panel(figure, label))
    time_of, height = points[points[:, 1].argmax()]
    assert height == pytest.approx(PEAKS[column], rel=1e-6)
    assert time_of == pytest.approx(at[PEAK_ROWS[column]], abs=THREE_HOURS / PICTURE)
    assert panel(figure, label).get_ylim()[1] > height


def test_one_row_s_peak_in_three_hours_can_be_seen(peaks: tuple[NDArray[np.float64], Figure]):
    """At 100 dots per inch there is ink in the column of a peak that lasts 0.05 s, half way up to it."""
    at, figure = peaks
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    picture = np.asarray(canvas.buffer_rgba())[..., :3].astype(int)
    x, y = panel(figure, "half orders").transData.transform((at[PEAK_ROWS["half"]], 3.0))
    line = picture[picture.shape[0] - round(y)]
    assert line[round(x) - 12 : round(x) - 6].min() == 255
    assert line[round(x) - 3 : round(x) + 4].min() < 200


def test_a_moment_of_alarm_in_three_hours_can_be_seen():
    """Half a second of alarm among hours of listening fills a column of the band."""
    columns = Columns.of(rows(THREE_HOURS)[0])
    spans = state_spans(states((7, "listen"), (5000, "alarm"), (5000.5, "listen")), 0.0, THREE_HOURS)
    alarm = [span for span in gathered(spans, columns) if span.word == "alarm"]
    assert len(alarm) == 1
    assert alarm[0].seconds == pytest.approx(THREE_HOURS / PICTURE)
    assert alarm[0].begin <= 5000 < alarm[0].end


@given(
    st.lists(st.floats(0.01, 50), min_size=1, max_size=60),
    st.lists(st.sampled_from(["learn", "listen", "uneasy", "alarm", "deaf"]), min_size=60, max_size=60),
)
def test_the_band_covers_the_run_once(gaps: list[float], names: list[str]):
    """Whatever the states, the band's spans follow one another without gap or overlap."""
    at = np.cumsum(gaps)
    columns = Columns.of(at)
    changes = states(*zip(at.tolist(), names, strict=False))
    spans = gathered(state_spans(changes, columns.begin, columns.end), columns)
    assert spans[0].begin == columns.begin
    assert spans[-1].end == pytest.approx(columns.end)
    assert all(a.end == b.begin and a.word != b.word for a, b in pairwise(spans))


@given(st.integers(0, 2**32 - 1), st.integers(1, 5000), st.floats(0.0, 1.0))
def test_an_envelope_holds_every_row(seed: int, count: int, share: float):
    """Each row that is shown lies in a block that covers its time and reaches at least to its value."""
    chance = np.random.default_rng(seed)
    at, values = np.cumsum(chance.uniform(0.5, 1.5, count)), chance.standard_normal(count)
    shown = chance.random(count) < share
    got = Columns.of(at).envelope(values, shown)
    kept = np.isfinite(got.x)
    begin, end = got.x[kept][::2], got.x[kept][1::2]
    low, mean, high = (series[kept][::2] for series in (got.low, got.mean, got.high))
    block = np.searchsorted(end, at[shown] - 1e-9)
    assert len(end) <= max(PICTURE, 1)
    assert (begin[block] <= at[shown]).all()
    assert (low[block] <= values[shown]).all()
    assert (values[shown] <= high[block]).all()
    assert ((low <= mean + 1e-12) & (mean <= high + 1e-12)).all()
    if shown.any():
        assert low.min() == values[shown].min()
        assert high.max() == values[shown].max()
    else:
        assert len(got.x) == 0


def test_nothing_is_drawn_while_deaf():
    """The series have a gap from where the sound became unusable to where it was heard again."""
    at, table = rows(40)
    silent = (at > 20) & (at <= 26)
    for name in ("peak", "spread"):
        table[silent, COLUMNS.index(name)] = 0.0
    table[silent, COLUMNS.index("level")] = -120.0
    events = [*states((5, "learn"), (8, "listen")), Deaf(20.5, "muted"), *states((20.5, "deaf"))]
    events += [Heard(26.5, "usable"), *states((26.5, "listen"))]
    figure = timeline(at, table, COLUMNS, events)
    for label in ("how near to", "loudness", "spindle line", "lines between", "half orders", "modulation"):
        x = drawn(panel(figure, label))[:, 0]
        assert not ((x > 20.001) & (x < 26.4)).any()
        assert not bridged(panel(figure, label), 20.001, 26.4)
        assert x.max() == pytest.approx(40)
    assert drawn(panel(figure, "loudness"))[:, 1].min() > -40
    assert "but deaf for 6.0 s of it" in said(figure)


def test_values_that_are_not_finite_are_left_out():
    """A NaN makes a gap and nothing else."""
    at, table = rows(8)
    table[100, COLUMNS.index("level")] = np.nan
    x = drawn(panel(timeline(at, table, COLUMNS, []), "loudness"))[:, 0]
    assert not ((x > at[99] + 1e-6) & (x < at[101] - 0.051)).any()


def test_the_spindle_s_strip_says_not_heard_air_and_cut(plain: Figure):
    """Where there is room it says in words what was heard of the spindle, never that it stood still."""
    strip = panel(plain, "the spindle")
    middles = {text.get_text(): text.get_position()[0] for text in strip.texts[1:]}
    assert middles == {
        "not heard": pytest.approx(1, abs=0.05),
        "in the air": pytest.approx(3, abs=0.05),
        "cutting": pytest.approx(9.5, abs=0.05),
    }


def test_parts_are_named_where_they_were_cut(plain: Figure):
    """The strip of parts appears when there are any, each with its name in the middle of its time."""
    parts = [("part 1", 2.0, 7.0), ("part 2", 7.0, 15.0)]
    strip = panel(timeline(*rows(15), COLUMNS, [], parts_at=parts), "the part")
    assert [(text.get_text(), text.get_position()[0]) for text in strip.texts[1:]] == [
        ("part 1", 4.5),
        ("part 2", 11.0),
    ]
    assert not any("the part" in word for word in words(plain))


def test_an_alarm_is_marked_and_explained():
    """Onset and certainty are lines through all panels; the caption gives cause, line and resume line."""
    figure = timeline(*rows(15), COLUMNS, [*states((9.9, "alarm")), ALARM])
    caption = next(word for word in words(figure) if word.startswith("alarm 1: "))
    for part in (
        "loose (80 % sure)",
        "began at 9.2 s, certain at 9.9 s",
        "line 21 (N350), within 19 to 24",
        "resume at line 8 (no N-word)",
    ):
        assert part in caption
    assert "because the spindle line rose 9 dB against tooth-pass" in said(figure)
    over = max(figure.axes, key=lambda axes: axes.get_zorder())
    marks = {float(line.get_xdata()[0]): line.get_linestyle() for line in over.lines}
    assert marks == {9.2: "--", 9.9: "-"}
    assert [text.get_text() for text in over.texts] == ["alarm 1"]
    assert figure.texts[0].get_text() == "1 alarm in 15.0 s"


def test_an_alarm_without_a_program_says_so():
    """Where no program was given the caption says that the place is unknown."""
    alarm = Alarm(9.9, 9.2, "unknown", 0.3, (), 4.0, 4.0)
    assert "unknown (30 % sure) · began at 9.2 s, certain at 9.9 s · place unknown" in said(
        timeline(*rows(15), COLUMNS, [alarm])
    )


def test_many_alarms_do_not_bury_the_picture():
    """Four alarms are told, the others counted; flags never cover one another."""
    alarms = [Alarm(at, at - 0.5, "loose", 0.5, ("x",), 4.0, 4.0) for at in np.linspace(6, 8, 12)]
    figure = timeline(*rows(600, 5), COLUMNS, alarms)
    assert sum(word.startswith("alarm ") and "sure" in word for word in words(figure)) == 4
    assert "and 8 more alarms" in words(figure)
    over = max(figure.axes, key=lambda axes: axes.get_zorder())
    assert_apart(figure, over.texts)


def test_a_quiet_run_says_that_there_was_no_alarm():
    """The title tells the outcome, and below it stands how much was heard."""
    figure = timeline(*rows(15), COLUMNS, [Summary(15.0, 0, 14.5, 9.2, 20)])
    assert figure.texts[0].get_text() == "No alarm in 15.0 s"
    assert "heard for 14.5 s, cutting for 9.2 s of that" in words(figure)
    told = timeline(*rows(15), COLUMNS, [Summary(15.0, 0, 14.5, 9.2, 20, compared_s=8.1)])
    assert "heard for 14.5 s, cutting for 9.2 s of that, compared for 8.1 s" in words(told)


def test_nothing_heard_is_still_a_picture():
    """No rows at all give a picture that says so."""
    figure = timeline(np.empty(0), np.empty((0, len(COLUMNS))), COLUMNS, [])
    FigureCanvasAgg(figure).draw()
    assert figure.texts[0].get_text() == "Nothing was heard"


def test_an_excerpt_begins_where_its_rows_begin():
    """Rows from the middle of a run are shown alone, in the state of that time, without other alarms."""
    at, table = rows(60)
    middle = (at > 30) & (at <= 40)
    events = [*states((5, "learn"), (8, "listen"), (50, "alarm")), ALARM]
    figure = timeline(at[middle], table[middle], COLUMNS, events)
    begin, end = panel(figure, "modulation").get_xlim()
    assert (begin, end) == (pytest.approx(30, abs=0.5), 40)
    assert [text.get_text() for text in panel(figure, "the watcher").texts[1:]] == ["listen"]
    assert figure.texts[0].get_text().startswith("No alarm in")


@pytest.mark.parametrize(
    ("at", "table", "columns", "fault"),
    [
        ([1.0, 2.0], np.zeros((3, len(COLUMNS))), COLUMNS, "must be"),
        ([1.0, 1.0], np.zeros((2, len(COLUMNS))), COLUMNS, "increase"),
        ([1.0, np.nan], np.zeros((2, len(COLUMNS))), COLUMNS, "finite"),
        ([1.0], np.zeros((1, 2)), ("level", "score"), "no column spindle"),
    ],
)
def test_rows_that_do_not_fit_are_refused(at: list[float], table: np.ndarray, columns: tuple, fault: str):
    """Shapes, times and columns are checked, and the error says what is wrong."""
    with pytest.raises(ValueError, match=fault):
        timeline(at, table, columns, [])


def test_input_is_not_changed_and_may_be_read_only_or_a_view(plain: Figure):
    """Read-only, strided and reordered input draws the same points and stays as it was."""
    at, table = rows(15)
    before = at.copy(), table.copy()
    wide = np.repeat(np.repeat(table[:, ::-1], 2, axis=0), 2, axis=1)[::2, ::2]
    times = np.repeat(at, 2)[::2]
    odd = timeline(times, wide, COLUMNS[::-1], [])
    at.flags.writeable = table.flags.writeable = False
    timeline(at, table, COLUMNS, [])
    np.testing.assert_array_equal(at, before[0])
    np.testing.assert_array_equal(table, before[1])
    for one, other in zip(plain.axes, odd.axes, strict=True):
        np.testing.assert_array_equal(drawn(one), drawn(other))


def test_three_hours_are_drawn_soon():
    """A picture of 216 000 rows is built in under a second."""
    at, table = rows(THREE_HOURS)
    changes = states(*((float(t), "uneasy" if t % 2 else "listen") for t in range(100, 10_000, 7)))
    assert quickest(lambda: timeline(at, table, COLUMNS, changes)) < 1.0


def quickest(build) -> float:
    """Least of three processor times, s: other work on the machine is no fault of the picture."""

    def once() -> float:
        begin = time.process_time()
        build()
        return time.process_time() - begin

    return min(once() for _ in range(3))


def test_pictures_touch_no_global_state():
    """Both pictures can be made without pyplot and leave matplotlib's settings alone."""
    program = f"""
import sys
import matplotlib
def settings():  # the backend is chosen when it is first looked at, by loading pyplot
    return {{name: matplotlib.rcParams[name] for name in matplotlib.rcParams if name != "backend"}}
before = settings()
from analysis.cutting import Bit
from analysis.figures import sheet, timeline
from analysis.listener import COLUMNS
from analysis.locate import Plan
from analysis.program import read
timeline([0.1, 0.2], [[0.5] * len(COLUMNS)] * 2, COLUMNS, [])
sheet(Plan.of(read({trays(1)!r}), {{0: Bit("any", 6.0, 2, 18000.0)}}), ())
assert "matplotlib.pyplot" not in sys.modules
assert settings() == before
"""
    subprocess.run([sys.executable, "-W", "error", "-c", program], check=True, timeout=60)


# The sheet from above


def trays(count: int, across: int = 4, side: int = 40) -> str:
    """A program for trays in rows: each an outline with one rounded corner, and a round hole in it."""
    lines = ["G21 G90 G17", "T1 M6", "S18000 M3", "G0 Z8"]
    for number in range(count):
        x, y = (10 + (side + 12) * place for place in (number % across, number // across))
        lines += [f"N{100 + 10 * number} G0 X{x} Y{y}", "G0 Z2", "G1 Z-4 F600", f"G1 X{x + side} F2400"]
        lines += [f"Y{y + side - 8}", f"G3 X{x + side - 8} Y{y + side} I-8 J0", f"G1 X{x}", f"Y{y}", "G0 Z8"]
        lines += [f"G0 X{x + side / 2} Y{y + side / 2 + 3}", "G1 Z-2 F300", "G2 I0 J-3 F1200", "G0 Z8"]
    return "\n".join([*lines, "M5", "M30"])


def plan_of(text: str, name: str = "trays.ngc") -> Plan:
    """The plan of a program's text."""
    return Plan.of(read(text, name), BITS)


def judged(plan: Plan, *verdicts: str) -> tuple[PartVerdict, ...]:
    """Verdicts of a plan's parts, one after another and round again."""
    return tuple(
        PartVerdict(part.name, part.first_line, part.last_line, verdicts[number % len(verdicts)])
        for number, part in enumerate(plan.parts)
    )


def ways(figure: Figure) -> list[PathPatch]:
    """The paths drawn in a plan."""
    return [patch for patch in figure.axes[0].patches if isinstance(patch, PathPatch)]


def marks(figure: Figure, shape: str) -> list[tuple[float, float]]:
    """Where a marker stands in a plan."""
    lines = [line for line in figure.axes[0].lines if line.get_marker() == shape]
    return [(float(line.get_xdata()[0]), float(line.get_ydata()[0])) for line in lines]


def assert_apart(figure: Figure, texts: list[Text]) -> None:
    """No two texts cover one another when the figure is drawn."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    boxes = [(text.get_text(), Text.get_window_extent(text, canvas.get_renderer())) for text in texts]
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not a.overlaps(b), f"{one!r} covers {other!r}"


@pytest.mark.parametrize("count", [1, 5, 12])
def test_every_part_is_named_and_judged_in_place(count: int):
    """Each part's name and verdict stand inside it."""
    plan = plan_of(trays(count))
    verdicts = judged(plan, "good", "suspect", "unheard")
    figure = sheet(plan, verdicts)
    places = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert len(plan.parts) == count
    for part, verdict in zip(plan.parts, verdicts, strict=True):
        x, y = places[f"{part.name}\n{verdict.verdict}"]
        assert part.box[0] < x < part.box[2]
        assert part.box[1] < y < part.box[3]


@pytest.mark.parametrize(("count", "across", "side"), [(12, 4, 40), (12, 6, 9), (40, 10, 18)])
def test_no_word_covers_another(count: int, across: int, side: int):
    """Words stand apart, in parts large enough for them and in parts that are not."""
    plan = plan_of(trays(count, across, side))
    alarm = alarm_in(plan, 21, 19, 24)
    figure = sheet(plan, judged(plan, "unheard", "suspect"), alarm=alarm)
    assert_apart(figure, [text for text in figure.axes[0].texts if text.get_text()])


def test_the_title_counts_the_verdicts():
    """The title tells how many parts are good, suspect and unheard, and leaves out what does not occur."""
    plan = plan_of(trays(5))
    assert sheet(plan, judged(plan, "good", "suspect")).texts[0].get_text() == "5 parts: 3 good, 2 suspect"
    assert "trays.ngc" in words(sheet(plan, ()))


def test_a_part_without_a_verdict_is_unheard():
    """Nothing is called good that nobody judged."""
    plan = plan_of(trays(2))
    assert "part 2\nunheard" in words(sheet(plan, judged(plan, "good")[:1]))


def test_a_verdict_of_no_part_is_refused():
    """A verdict that belongs to another program is an error."""
    with pytest.raises(ValueError, match=r"'part 9', but trays\.ngc has no such part"):
        sheet(plan_of(trays(1)), [PartVerdict("part 9", 1, 2, "good")])


def test_the_plan_is_in_mm_with_equal_axes():
    """A square part is square on paper, and both axes say mm."""
    figure = sheet(plan_of(trays(3)), ())
    axes = figure.axes[0]
    FigureCanvasAgg(figure).draw()
    (x0, y0), (x1, y1) = axes.transData.transform([(0, 0), (10, 10)])
    assert x1 - x0 == pytest.approx(y1 - y0)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("X (mm)", "Y (mm)")


def test_arcs_are_drawn_as_arcs():
    """From (7, 7) ``g2 x10 y16 i3 j4`` turns about (10, 11) at radius 5 (NISTIR 6556, 3.5.3)."""
    text = "G21 G90 F600\nM3 S9000\nG0 Z5\nG0 X7 Y7\nG1 Z-1\nG2 X10 Y16 I3 J4\nG0 Z5\nM2"
    way = ways(sheet(plan_of(text), ()))[-1].get_path().vertices
    np.testing.assert_allclose(np.hypot(way[:, 0] - 10, way[:, 1] - 11), 5, atol=1e-9)
    # Chords so short that the eye sees a curve: the flattest stays within 0.01 mm of the arc.
    chords = np.hypot(*np.diff(way, axis=0).T)
    assert (chords.max() ** 2) / (8 * 5) < 0.01
    np.testing.assert_allclose(way[[0, -1]], [(7, 7), (10, 16)], atol=1e-9)


def test_a_whole_circle_is_drawn_whole():
    """A full turn, whose ends are one point, goes once around its centre."""
    text = "G21 G90 F600\nM3 S9000\nG0 Z5\nG0 X30 Y10\nG1 Z-1\nG3 I-10 J0\nG0 Z5\nM2"
    way = ways(sheet(plan_of(text), ()))[-1].get_path().vertices
    np.testing.assert_allclose(np.hypot(way[:, 0] - 20, way[:, 1] - 10), 10, atol=1e-9)
    np.testing.assert_allclose([way.min(axis=0), way.max(axis=0)], [(10, 0), (30, 20)], atol=0.01)


def test_every_cutting_move_is_drawn_with_its_part():
    """All ends of a part's moves lie on its path."""
    plan = plan_of(trays(2))
    figure = sheet(plan, judged(plan, "good"))
    moves = plan.program.moves
    for part, patch in zip(plan.parts, ways(figure)[1:], strict=True):
        points = {(round(x, 6), round(y, 6)) for x, y in patch.get_path().vertices}
        assert {(round(x, 6), round(y, 6)) for x, y in moves.end[part.moves, :2]} <= points


def test_moves_above_the_work_are_thin_and_dotted():
    """Rapids are drawn thinner than any cut and dotted, from their start to their end."""
    plan = plan_of(trays(2))
    rapids, *cuts = ways(sheet(plan, judged(plan, "good", "suspect")))
    assert rapids.get_linestyle() not in ("-", "solid")
    assert rapids.get_linewidth() < min(cut.get_linewidth() for cut in cuts)
    assert [62.0, 10.0] in rapids.get_path().vertices.tolist()  # to the second tray


def alarm_in(plan: Plan, line: int, first: int, last: int) -> Alarm:
    """An alarm on a line of a plan, with the resume line that belongs to it."""
    resume = resume_at(plan.program, first)
    place = Place(line, None, first, last, "sound")
    return Alarm(99.0, 98.2, "loose", 0.8, (), 4.0, 4.0, place, ResumeLine(resume.file_line, resume.word))


def test_onset_and_resume_line_are_marked_and_named():
    """The onset is marked on its line's way, the resume line where the bit stands then; both are named."""
    plan = plan_of(trays(2))
    alarm = alarm_in(plan, 8, 8, 8)
    figure = sheet(plan, judged(plan, "suspect"), alarm=alarm)
    assert plan.program.lines[7] == "G1 X50 F2400"
    assert marks(figure, "X") == [(30.0, 10.0)]
    assert marks(figure, "^") == [resume_at(plan.program, 8).position[:2]]
    assert "the change began on\nline 8 (no N-word)" in words(figure)
    assert f"resume at\nline {alarm.resume.file} (no N-word)" in words(figure)
    assert "alarm: loose (80 % sure), began at 1:38.2" in words(figure)


def test_the_onset_in_a_drilling_cycle_is_marked_at_the_hole():
    """A line that goes across and then drills is marked where it cuts, not on its way there."""
    text = "G21 G90 F300\nM3 S9000\nG0 Z5\nG99 G83 X10 Y10 Z-5 R2 Q3\nX50\nG80\nM2"
    alarm = Alarm(9.9, 9.2, "loose", 0.8, (), 4.0, 4.0, Place(5, None, 5, 5, "sound"))
    assert marks(sheet(plan_of(text), (), alarm=alarm), "X") == [(50.0, 10.0)]


def test_where_else_it_may_have_begun_is_shown():
    """An uncertain place is drawn as a broad band along all lines that it may be, and explained."""
    plan = plan_of(trays(1))
    figure = sheet(plan, (), alarm=alarm_in(plan, 9, 8, 10))
    band = max(ways(figure), key=lambda patch: patch.get_linewidth())
    np.testing.assert_allclose(band.get_path().vertices[[0, -1]], [(10, 10), (42, 50)])
    assert "the change may have begun anywhere here" in words(figure)
    certain = sheet(plan, (), alarm=alarm_in(plan, 9, 9, 9))
    assert "the change may have begun anywhere here" not in words(certain)


def test_an_alarm_with_no_place_marks_nothing():
    """Without a place there is no mark, and the caption says so."""
    figure = sheet(plan_of(trays(1)), (), alarm=Alarm(9.9, 9.2, "chatter", 0.6, (), 4.0, 4.0))
    assert marks(figure, "X") == marks(figure, "^") == []
    assert "place unknown" in words(figure)


def test_a_program_that_cuts_nothing_is_still_a_picture():
    """Without any part the title says that nothing is cut."""
    figure = sheet(plan_of("G21 G90\nG0 Z8\nG0 X10\nM2"), ())
    FigureCanvasAgg(figure).draw()
    assert figure.texts[0].get_text() == "Nothing is cut"


def test_holes_can_be_seen():
    """A hole, which has no way seen from above, is a dot."""
    text = "G21 G90 F300\nM3 S9000\nG0 Z5\nG99 G81 X10 Y10 Z-5 R2\nX50\nG80\nM2"
    dots = [line for line in sheet(plan_of(text), ()).axes[0].lines if line.get_marker() == "o"]
    assert dots[0].get_xydata().tolist() == [[10, 10], [50, 10]]


def test_the_program_s_arrays_stay_as_they_were():
    """Drawing does not change the moves."""
    plan = plan_of(trays(2))
    before = plan.program.moves.start.copy(), plan.program.moves.end.copy(), plan.parts[0].outline.copy()
    sheet(plan, judged(plan, "good"), alarm=alarm_in(plan, 9, 8, 10))
    for was, now in zip(
        before, (plan.program.moves.start, plan.program.moves.end, plan.parts[0].outline), strict=True
    ):
        np.testing.assert_array_equal(was, now)


# Words


@given(st.floats(1, 200), st.floats(1, 200), st.lists(st.sampled_from(["part 1\ngood", "part 12\nunheard"])))
def test_words_in_an_area_never_cover_one_another(wide: float, tall: float, texts: list[str]):
    """A word that is placed inside its area lies wholly in it, clear of all words placed before."""
    area, taken = Box(0, 0, wide, tall), []
    board = Board(Box(-500, -500, 500, 500), 25.0)
    for text in texts[:6]:
        spot = board.into(text, area)
        if spot.beside:
            continue
        x, y = spot.middle
        half, tall_half = (
            0.5 * max(map(len, text.split("\n"))) * 0.6 * spot.size / 72 * 25,
            spot.size / 72 * 25,
        )
        word = Box(x - half, y - tall_half, x + half, y + tall_half)
        assert area.holds(word)
        assert not any(word.overlap(other) for other in taken)
        taken.append(word)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "0.0 s"),
        (9.44, "9.4 s"),
        (59.96, "1:00.0"),
        (123.4, "2:03.4"),
        (3599.96, "1:00:00.0"),
        (10_802.5, "3:00:02.5"),
    ],
)
def test_a_moment_in_words(seconds: float, words: str):
    """A moment is told to a tenth of a second, with minutes and hours where there are any."""
    assert moment(seconds) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.5, "0.5 s"),
        (59.96, "1 min 0 s"),
        (250.2, "4 min 10 s"),
        (3599.6, "1 h 0 min"),
        (10_800, "3 h 0 min"),
    ],
)
def test_a_duration_in_words(seconds: float, words: str):
    """A duration is told in the two units that matter."""
    assert lasting(seconds) == words
