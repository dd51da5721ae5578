"""The program from above, before any run: what a person must find in the picture."""

import subprocess
import sys
from itertools import combinations

import numpy as np
import pytest
from generated import programs
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Text

from analysis.contents import Contents, Learned, Tool, contents_of
from analysis.cutting import Bit
from analysis.figures import plan_view
from analysis.figures.looks import BITS
from analysis.figures.ways import once, way
from analysis.program import read

TOOLS = {0: Tool(Bit("six", 6.0, 2, 18_000.0))}
HEAD = "G21 G90 G17\nT1 M6 (6 mm up-cut)\nS18000 M3\nG0 Z5\n"


def square(x: float, y: float, side: float, *depths: float) -> str:
    """Cut a square in passes."""
    lines = [f"G0 X{x} Y{y}"]
    for depth in depths or (3,):
        lines += [f"G1 Z-{depth} F600", f"X{x + side} F2400", f"Y{y + side}", f"X{x}", f"Y{y}"]
    return "\n".join([*lines, "G0 Z5\n"])


TWO = f"{HEAD}{square(20, 20, 60)}M5\nT2 M6 (engraver)\nS24000 M3\nG0 Z5\n{square(35, 35, 30, 1, 2)}M30"
PECKS = f"{HEAD}G83 X10 Y10 Z-3 R1 Q1 F1200\nX30\nX30 Y25\nG80\nM30"


def contents(text: str, **said: object) -> Contents:
    """What is in a program."""
    return contents_of(read(text, "job.ngc"), TOOLS, **said)


def drawn(text: str) -> Figure:
    """The picture of a program."""
    return plan_view(contents(text))


def words(figure: Figure) -> list[str]:
    """Every text in a figure that can be seen."""
    return [text.get_text() for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def ways(figure: Figure, look: int) -> list[PathPatch]:
    """The ways drawn for a bit, by its place in the order of use."""
    line, width = to_rgb(BITS[look].line), BITS[look].width
    patches = [patch for patch in figure.axes[0].patches if isinstance(patch, PathPatch)]
    return [p for p in patches if to_rgb(p.get_edgecolor()) == line and p.get_linewidth() == width]


def marks(figure: Figure, shape: str) -> list[list[float]]:
    """Where markers of a shape stand."""
    lines = [line for line in figure.axes[0].lines if line.get_marker() == shape]
    return [point for line in lines for point in line.get_xydata().tolist()]


# --- the parts ------------------------------------------------------------------------------------------


def test_parts_are_named_inside_them():
    """A part's name stands within its box, and the title counts parts and bits."""
    figure = drawn(f"{HEAD}{square(0, 0, 40)}{square(60, 0, 40)}M30")
    places = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert 0 < places["part 1"][0] < 40
    assert 60 < places["part 2"][0] < 100
    assert figure.texts[0].get_text().startswith("2 parts, 1 bit, about ")
    assert "job.ngc" in words(figure)


def test_many_parts_have_their_numbers_in_them():
    """Where names would cover one another each part has its number, as far as there is room."""
    text = HEAD + "".join(square(20 * (at % 10), 20 * (at // 10), 12) for at in range(70)) + "M30"
    figure = drawn(text)
    places = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert {str(number) for number in range(1, 71)} <= places.keys()
    assert 20 * 9 < places["70"][0] < 20 * 9 + 12
    assert any("each part's number stands in it" in word for word in words(figure))


@pytest.mark.parametrize(
    "text", [TWO, PECKS, HEAD + "".join(square(30 * at, 0, 9) for at in range(30)) + "M30"]
)
def test_no_word_covers_another(text: str):
    """Names of parts, and what is said of baselines, stand apart."""
    figure = drawn(text)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    texts = [text for text in figure.axes[0].texts if text.get_text()]
    boxes = [(text.get_text(), Text.get_window_extent(text, canvas.get_renderer())) for text in texts]
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not a.overlaps(b), f"{one!r} covers {other!r}"


# --- the bits -------------------------------------------------------------------------------------------


def test_bits_are_told_apart_without_colour():
    """Each look differs from every other in style, width or marker, and most in lightness as well."""
    for one, other in combinations(BITS, 2):
        assert one.marker != other.marker
        assert (one.style, one.width) != (other.style, other.width)


def test_each_bit_is_in_the_key_with_its_name():
    """The key has every bit with its comment, drawn as its cuts are."""
    figure = drawn(TWO)
    entries = {
        text.get_text(): handle
        for legend in figure.legends
        for text, handle in zip(legend.get_texts(), legend.legend_handles, strict=True)
    }
    for name, look in (("T1: 6 mm up-cut", BITS[0]), ("T2: engraver", BITS[1])):
        handle = entries[name]
        assert isinstance(handle, Line2D)
        assert (handle.get_color(), handle.get_marker()) == (look.line, look.marker)
    assert "moves above the work" in entries
    assert "the bit's sound is learned here" in entries


def test_each_bit_s_cuts_are_drawn_in_its_own_look():
    """The corners of what a bit cuts lie on its own ways, and on no other's."""
    figure = drawn(TWO)
    for look, corners in enumerate(({(20, 20), (80, 20), (80, 80)}, {(35, 35), (65, 35), (65, 65)})):
        (patch,) = ways(figure, look)
        assert corners <= {tuple(point) for point in np.round(patch.get_path().vertices, 3).tolist()}
        assert patch.get_linestyle() == BITS[look].style


def test_a_ninth_bit_begins_the_looks_again():
    """More bits than looks are drawn all the same, and the key names them all."""
    bits = "".join(f"T{n} M6 (bit {n})\nS9000 M3\nG0 Z5\n{square(0, 50 * n, 40)}" for n in range(1, 11))
    figure = drawn(f"G21 G90\n{bits}M30")
    assert {f"T{n}: bit {n}" for n in range(1, 11)} <= set(words(figure))
    assert len(ways(figure, 0)) == 2


def test_holes_are_marked():
    """A hole, which has no way seen from above, has the bit's marker, once."""
    assert sorted(marks(drawn(PECKS), BITS[0].marker))[:3] == [[10, 10], [30, 10], [30, 25]]


# --- baselines and tabs ---------------------------------------------------------------------------------


def test_where_a_bit_is_learned_is_marked_and_named():
    """The mark stands where the learning begins, its words say the line, and a band follows the way."""
    whole = contents(TWO)
    figure = plan_view(whole)
    first = whole.bits[0].baseline
    assert isinstance(first, Learned)
    moves = whole.program.moves
    assert moves.start[first.first, :2].tolist() == [20, 20]
    assert [20, 20] in marks(figure, "v")
    assert f"T1 is learned\nfrom line {moves.file_line[first.first]}" in words(figure)
    bands = [patch for patch in figure.axes[0].patches if patch.get_linewidth() == 8]
    assert len(bands) == 2
    assert bands[0].get_zorder() < ways(figure, 0)[0].get_zorder()
    assert bands[0].get_path().vertices[0].tolist() == [20, 20]


def test_a_bit_that_is_nowhere_learned_is_named_above():
    """Short pecks have no mark, and the line below the title says so."""
    figure = drawn(PECKS)
    assert "nowhere to learn a baseline for T1" in words(figure)
    assert marks(figure, "v") == []


def test_tabs_are_marked():
    """A tab is drawn as a broad stroke across its place, and the key names it."""
    lines = [
        "G0 X0 Y0",
        "G1 Z-6 F300",
        "X17 F900",
        "Z-4",
        "X23",
        "Z-6",
        "X40",
        "Y30",
        "X0",
        "Y0",
        "G0 Z5\nM30",
    ]
    whole = contents(HEAD + "\n".join(lines))
    (tab,) = whole.parts[0].part.tabs
    figure = plan_view(whole)
    strokes = [line.get_xydata().tolist() for line in figure.axes[0].lines if line.get_linewidth() == 5]
    assert [list(tab.begin), list(tab.end)] in strokes
    assert "a tab is left standing" in words(figure)
    assert "a tab is left standing" not in words(drawn(TWO))


# --- the paper ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", [TWO, f"{HEAD}G0 X0 Y0\nG1 Z-3 F600\nX1500 F2400\nY8\nX0\nY0\nG0 Z5\nM30"])
def test_the_scale_is_right(text: str):
    """A square is square on paper, also where the job is long and thin, and both axes say mm."""
    figure = drawn(text)
    axes = figure.axes[0]
    FigureCanvasAgg(figure).draw()
    (x0, y0), (x1, y1) = axes.transData.transform([(0, 0), (10, 10)])
    assert x1 - x0 == pytest.approx(y1 - y0)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("X (mm)", "Y (mm)")


def test_a_program_in_inches_is_drawn_in_mm():
    """One inch is 25.4 mm on the axes, and a line says that it was translated."""
    inches = "G20 G90\nT1 M6\nS9000 M3\nG0 Z.2\nG0 X0 Y0\nG1 Z-.1 F20\nX4 F90\nY3\nX0\nY0\nG0 Z.2\nM30"
    figure = drawn(inches)
    assert "written in inches, drawn in mm" in words(figure)
    assert "written in inches, drawn in mm" not in words(drawn(TWO))
    corners = np.concatenate([patch.get_path().vertices for patch in ways(figure, 0)])
    np.testing.assert_allclose(corners.max(axis=0), [101.6, 76.2], atol=1e-3)


def test_a_program_that_cuts_nothing_is_still_a_picture():
    """Without any cut the title says so."""
    figure = drawn("G21 G90\nG0 Z8\nG0 X10\nM2")
    FigureCanvasAgg(figure).draw()
    assert figure.texts[0].get_text() == "Nothing is cut"


def carving(count: int) -> str:
    """A relief in rows of half a millimetre."""
    lines = []
    for at in range(count):
        row, place = divmod(at, 200)
        x = 0.5 * (place if row % 2 == 0 else 199 - place)
        lines.append(f"G1 X{x} Y{row} Z{-3 + 2 * np.sin(x / 9):.3f}")
    return f"{HEAD}G0 X0 Y0\nG1 Z-3 F600\nF2400\n" + "\n".join(lines) + "\nG0 Z5\nM30"


@pytest.mark.slow
def test_a_long_carving_is_drawn_whole(monkeypatch: pytest.MonkeyPatch):
    """Of 60 000 moves all rows are there, in pieces that the drawing can bear."""
    monkeypatch.setattr("analysis.contents.whole.MOST_MOVES", 10)
    whole = contents(carving(60_000))
    figure = plan_view(whole)
    FigureCanvasAgg(figure).draw()
    patches = ways(figure, 0)
    assert max(len(patch.get_path().vertices) for patch in patches) <= 10_001
    rows = np.concatenate([patch.get_path().vertices[:, 1] for patch in patches])
    assert len(np.unique(np.round(rows))) == 300
    assert "so long a program that it was not worked out where baselines are learned" in words(figure)


@settings(max_examples=10, deadline=None)
@given(programs())
def test_any_program_can_be_drawn(text: str):
    """A picture of whatever is cut, and the program's arrays stay as they were."""
    whole = contents(text)
    before = whole.program.moves.start.copy(), whole.program.moves.end.copy()
    FigureCanvasAgg(plan_view(whole)).draw()
    np.testing.assert_array_equal(whole.program.moves.start, before[0])
    np.testing.assert_array_equal(whole.program.moves.end, before[1])


def test_no_global_state_is_touched():
    """The picture is made without pyplot."""
    script = f"""
import sys
from analysis.contents import Tool, contents_of
from analysis.cutting import Bit
from analysis.figures import plan_view
from analysis.program import read
plan_view(contents_of(read({TWO!r}), {{0: Tool(Bit("six", 6.0, 2, 18000.0))}}))
assert "matplotlib.pyplot" not in sys.modules
"""
    subprocess.run([sys.executable, "-W", "error", "-c", script], check=True, timeout=60)


# --- ways, each drawn once ------------------------------------------------------------------------------


def pieces(path: Path) -> list[tuple[tuple[float, float], ...]]:
    """The straight pieces of a path, each with its ends in order."""
    points = np.round(path.vertices, 6).tolist()
    pairs = zip(points, points[1:], path.codes[1:], strict=False)
    return [tuple(sorted((tuple(a), tuple(b)))) for a, b, code in pairs if code == Path.LINETO and a != b]


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3), st.booleans()), min_size=1, max_size=40))
def test_what_is_gone_twice_is_drawn_once(steps: list[tuple[int, int, bool]]):
    """The same pieces are there as before, in whatever direction they were gone, and none of them twice."""
    points = np.array([(x, y) for x, y, _ in steps], dtype=np.float64)
    codes = [Path.MOVETO if at == 0 or jump else Path.LINETO for at, (_, _, jump) in enumerate(steps)]
    path = Path(points, np.array(codes, dtype=np.uint8))
    kept = once(path, 0.001)
    assert set(pieces(kept)) == set(pieces(path))
    assert len(pieces(kept)) == len(set(pieces(path)))


def test_passes_of_a_square_are_drawn_once():
    """Three passes around make four sides."""
    moves = read(f"{HEAD}{square(0, 0, 10, 1, 2, 3)}M30").moves
    path = way(moves, np.flatnonzero(moves.end[:, 2] < 0))
    assert len(pieces(path)) == 12
    assert len(pieces(once(path, 0.001))) == 4


def test_arcs_that_lie_over_one_another_are_drawn_once():
    """Two rounds of a circle that begin at different places share their chords, but for those cut in two."""
    text = f"{HEAD}G0 X10 Y0\nG1 Z-1 F600\nG3 I-10 F900\nG3 X0 Y10 I-10\nG1 Z-2\nG3 J-10\nG0 Z5\nM30"
    moves = read(text).moves
    path = way(moves, np.flatnonzero(moves.sweep != 0))
    single = way(moves, np.flatnonzero(moves.sweep != 0)[:1])
    assert len(pieces(once(path, 0.001))) <= len(pieces(single)) + 2
    np.testing.assert_allclose(np.hypot(*path.vertices.T), 10, atol=1e-9)
