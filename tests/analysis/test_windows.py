"""Windows do not depend on the blocks that the sound came in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.windows import Windows, window_size

SOUND = np.random.default_rng(1).standard_normal(3000).astype(np.float32)


def by_hand(sound: NDArray[np.float32], size: int, hop: int) -> NDArray[np.float32]:
    """Every window that fits, cut out one by one."""
    starts = range(0, len(sound) - size + 1, hop)
    return np.array([sound[s : s + size] for s in starts], dtype=np.float32).reshape(-1, size)


@st.composite
def cuts(draw: st.DrawFn) -> tuple[int, int, int, list[int]]:
    """Draw a size, a hop that is no larger, a length of sound, and where it is cut into blocks."""
    size = draw(st.integers(1, 64))
    hop = draw(st.integers(1, size))
    length = draw(st.integers(0, 400))
    return size, hop, length, sorted(draw(st.lists(st.integers(0, length), max_size=30)))


@given(cuts())
def test_same_windows_whatever_the_blocks(case: tuple[int, int, int, list[int]]):
    """The windows are those cut out of the whole sound by hand, however it is cut into blocks."""
    size, hop, length, places = case
    sound = SOUND[:length]
    windows = Windows(size, hop)
    given_out = np.concatenate([windows.feed(block) for block in np.split(sound, places)])
    expected = by_hand(sound, size, hop)
    assert given_out.tobytes() == expected.tobytes()
    assert windows.position == length
    assert windows.count == len(expected)


@pytest.mark.parametrize("block", [1, 7, 256, 2999, 3000])
def test_equal_blocks(block: int):
    """Blocks of one sample, of an odd size, of the size of the sound: all give the same windows."""
    windows = Windows(size=512, hop=200)
    given_out = [windows.feed(SOUND[start : start + block]) for start in range(0, len(SOUND), block)]
    assert np.concatenate(given_out).tobytes() == by_hand(SOUND, 512, 200).tobytes()


def test_a_block_may_be_reused_by_its_owner():
    """An audio callback overwrites its block after the call; windows already taken in do not change."""
    block = np.ones(6, dtype=np.float32)
    windows = Windows(size=8, hop=4)
    windows.feed(block)
    block[:] = 2
    first = windows.feed(block)
    block[:] = 3
    second = windows.feed(block)
    assert first.tolist() == [[1, 1, 1, 1, 1, 1, 2, 2], [1, 1, 2, 2, 2, 2, 2, 2]]
    assert second.tolist() == [[2, 2, 2, 2, 3, 3, 3, 3]]


def test_windows_are_read_only():
    """Rows share memory, so none may be written to."""
    rows = Windows(size=8, hop=4).feed(SOUND[:100])
    with pytest.raises(ValueError, match="read-only"):
        rows[0, 0] = 1


def test_non_finite_samples_pass():
    """NaN and infinity come out where they went in: deafness is judged elsewhere."""
    sound = np.array([0.0, np.nan, np.inf, 1e300])
    assert str(Windows(size=4, hop=4).feed(sound)[0].tolist()) == "[0.0, nan, inf, inf]"


@pytest.mark.parametrize("block", [[0, 1, 2, 3], np.arange(4, dtype=np.int16), np.arange(4.0)[::1]])
def test_other_types_are_converted_not_scaled(block: object):
    """Lists, integers and doubles become float32 with their values kept."""
    rows = Windows(size=4, hop=1).feed(block)  # type: ignore[arg-type]
    assert rows.dtype == np.float32
    assert rows.tolist() == [[0, 1, 2, 3]]


def test_backwards_view_is_taken_as_it_reads():
    """A block that is a strided view counts by what it shows, not by how it lies in memory."""
    assert Windows(size=4, hop=1).feed(np.arange(4.0)[::-1]).tolist() == [[3, 2, 1, 0]]


def test_little_is_kept():
    """After a huge block only the few samples that the next window needs are held on to."""
    windows = Windows(size=64, hop=16)
    windows.feed(np.zeros(1_000_000, dtype=np.float32))
    held = [piece if piece.base is None else piece.base for piece in windows._pieces]  # noqa: SLF001
    assert sum(len(piece) for piece in held) < 64


@pytest.mark.parametrize(("size", "hop"), [(0, 1), (-4, 1), (4, 0), (4, -1), (4, 5)])
def test_impossible_sizes_are_refused_with_their_value(size: int, hop: int):
    """The error names the value that is wrong."""
    with pytest.raises(ValueError, match=r"(size|hop)=-?\d+ must"):
        Windows(size, hop)


def test_a_fraction_of_a_sample_is_refused():
    """A size is a whole number."""
    with pytest.raises(TypeError):
        Windows(4.0, 2)  # type: ignore[arg-type]


def test_stereo_is_refused():
    """Two channels are refused rather than cut up as if they were one."""
    with pytest.raises(ValueError, match=r"\(10, 2\).*mono"):
        Windows(4, 2).feed(np.zeros((10, 2), dtype=np.float32))


@given(
    rate=st.sampled_from([8000, 16_000, 22_050, 44_100, 48_000, 96_000]),
    speed=st.floats(600, 60_000),
)
def test_window_size_is_even_fast_and_about_right(rate: int, speed: float):
    """The size has no prime factor above 5, is even, and lasts 30 turns within the bounds."""
    size = window_size(rate, 60 / speed)
    wanted = min(max(30 * 60 / speed, 0.08), 0.5)
    rest = size
    for factor in (2, 3, 5):
        while rest % factor == 0:
            rest //= factor
    assert rest == 1
    assert size % 2 == 0
    assert wanted * rate - 1 <= size <= 1.12 * wanted * rate


def test_window_size_by_example():
    """30 turns at 18 000 rpm are 0.1 s, that is 4800 samples at 48 kHz; slow spindles stop at 0.5 s."""
    assert window_size(48_000, 1 / 300) == 4800
    assert window_size(48_000, 1.0) == 24_000
    assert window_size(48_000, 1e-4) == 3840


@pytest.mark.parametrize(("rate", "revolution"), [(0, 0.01), (48_000, 0.0), (48_000, np.nan)])
def test_window_size_refuses_nonsense(rate: int, revolution: float):
    """A rate or a revolution that cannot be is named with its value."""
    with pytest.raises(ValueError, match=r"=(0|0\.0|nan) must be positive"):
        window_size(rate, revolution)
