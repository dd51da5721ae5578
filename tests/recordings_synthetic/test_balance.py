"""A bit beside the spindle's axis pulls once a turn, in the cut and out of it; a loose one pulls harder."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from simulated import BIT, EXACT, RATE, peak_near, turns_per_second

from analysis.program import read
from recordings_synthetic import Gantry, Recording, Slip, record, sound
from recordings_synthetic.balance import DENSITY, OVERHANG, balance, pull
from recordings_synthetic.faults.trouble import Looseness, tight
from recordings_synthetic.force import Runout
from recordings_synthetic.machine import Path
from recordings_synthetic.scene import Scene
from recordings_synthetic.tables import Tool

TICKS = 5
TURN = np.arange(4096) / 1024  # four turns
SIZES = st.floats(0.0, 5.0)
ANGLES = st.floats(-math.pi, math.pi)


def scene(
    *tools: Tool, bit: list[int] | None = None, towards: tuple[float, float, float] = (1, 0, 0)
) -> Scene:
    """Some ticks of bits T1, T2, ... on the way somewhere."""
    way = Path(0.001, np.zeros(TICKS, np.intp), np.outer(np.arange(TICKS), towards).astype(float))
    numbers = np.array([1] * TICKS if bit is None else bit, np.int64)
    nothing = np.zeros(TICKS)
    return Scene(way, nothing, numbers, nothing.astype(bool), dict(enumerate(tools, start=1)))


def loose(eccentricity: float, towards: float = 0.0, rocking: float = 0.0) -> Looseness:
    """A bit that is as loose as that at all ticks."""
    return Looseness(np.full(TICKS, eccentricity), np.full(TICKS, rocking), np.zeros(TICKS), towards)


def pulled(held: complex, more: complex, rocking: float = 0.0) -> NDArray[np.complex128]:
    """The force over four turns."""
    parts = (np.full(len(TURN), part, np.complex64) for part in (held, more))
    return pull(TURN, *parts, np.full(len(TURN), rocking)).astype(np.complex128)


def orders(force: NDArray[np.floating]) -> NDArray[np.float64]:
    """Amplitudes at orders 0, 0.25, 0.5, ... of four turns."""
    return np.asarray(2.0 * np.abs(np.fft.rfft(force)) / len(force))


def diameter_of(kilograms: float) -> float:
    """The diameter of a bit of that mass below the collet, mm."""
    return math.sqrt(4.0 * kilograms / (math.pi * DENSITY * OVERHANG))


# How hard


@pytest.mark.parametrize(("grams", "newtons"), [(20.0, 1.42), (10.0, 0.71)])
def test_the_pull_is_mass_times_distance_times_the_square_of_the_speed(grams: float, newtons: float):
    """F = m e omega²: 20 g that are off by .02 mm pull with 1.42 N at 18 000 rpm (computed by hand)."""
    tool = Tool(2, diameter_of(grams / 1000.0), Runout(eccentricity=0.02))
    found = balance(scene(tool), tight(TICKS), np.full(TICKS, 300.0))
    np.testing.assert_allclose(np.abs(found.held), newtons, atol=0.005)
    assert not found.loose.any()


def test_a_bit_weighs_what_its_carbide_does():
    """6 mm of carbide, 25 mm long, are 10 g: 14.5 g/cm³ (from memory) x 0.707 cm³."""
    found = balance(scene(Tool(2, 6.0, Runout(eccentricity=1.0))), tight(TICKS), np.full(TICKS, 1.0))
    assert np.abs(found.held) == pytest.approx(0.01025 * 0.001 * (2 * math.pi) ** 2, rel=0.002)


@given(eccentricity=st.floats(0.001, 0.1), towards=ANGLES, speed=st.floats(50.0, 500.0))
def test_a_loose_bits_middle_is_half_as_far_off_as_its_end(eccentricity: float, towards: float, speed: float):
    """It is tilted about the collet: it pulls half as hard as one that stands beside the axis as a whole."""
    held = scene(Tool(2, 6.0, Runout(eccentricity, towards)))
    true = scene(Tool(2, 6.0, Runout()))
    beside = balance(held, tight(TICKS), np.full(TICKS, speed)).held
    tilted = balance(true, loose(eccentricity, towards), np.full(TICKS, speed)).loose
    np.testing.assert_allclose(tilted, beside / 2, rtol=1e-5)


@given(times=st.floats(0.1, 3.0))
def test_twice_the_speed_pulls_four_times_as_hard(times: float):
    """The pull grows with the square of the speed, of the bit as it is held and of what is loose."""
    one = scene(Tool(2, 6.0, Runout(0.01, 0.5)))
    slow, fast = (balance(one, loose(0.02), np.full(TICKS, speed)) for speed in (200.0, 200.0 * times))
    np.testing.assert_allclose(fast.held, times**2 * slow.held, rtol=1e-5)
    np.testing.assert_allclose(fast.loose, times**2 * slow.loose, rtol=1e-5)


def test_a_spindle_that_stands_does_not_pull():
    """At no speed there is no force, however loose the bit is; nor where there is no bit."""
    tool = Tool(2, 6.0, Runout(0.01))
    still = balance(scene(tool), loose(0.1), np.zeros(TICKS))
    assert not still.held.any()
    assert not still.loose.any()
    speed = np.full(TICKS, 300.0)
    assert not balance(scene(tool, bit=[0] * TICKS), tight(TICKS), speed).held.any()
    assert not balance(scene(bit=[0] * TICKS), tight(TICKS), speed).held.any()


def test_each_bit_has_its_own_balance():
    """At each tick the bit that is in the spindle pulls, as its own mass and runout have it."""
    thin, thick = Tool(2, 3.0, Runout(0.01)), Tool(2, 6.0, Runout(0.005))
    found = balance(scene(thin, thick, bit=[1, 1, 2, 0, 2]), tight(TICKS), np.full(TICKS, 300.0)).held
    assert found[1] == found[0]
    assert found[4] == found[2] == pytest.approx(2 * found[0])  # four times the mass, half as far off
    assert found[3] == 0


@given(st.tuples(*[st.floats(-40, 40)] * 3))
def test_where_the_bit_goes_does_not_matter(towards: tuple[float, float, float]):
    """The pull turns with the spindle alone: it is the same whatever the direction of feed."""
    tool, speed = Tool(2, 6.0, Runout(0.01, 1.0)), np.full(TICKS, 300.0)
    here, there = (balance(scene(tool, towards=way), loose(0.02), speed) for way in ((1.0, 0, 0), towards))
    assert here.held.tobytes() == there.held.tobytes()
    assert here.loose.tobytes() == there.loose.tobytes()


# How it turns


@given(SIZES, ANGLES, SIZES, ANGLES)
def test_held_and_loose_add_as_vectors(held: float, direction: float, more: float, towards: float):
    """Without rocking the force has one size, that of the sum of both: by the law of cosines."""
    force = pulled(held * np.exp(1j * direction), more * np.exp(1j * towards))
    size = math.sqrt(max(held**2 + more**2 + 2 * held * more * math.cos(direction - towards), 0.0))
    np.testing.assert_allclose(np.abs(force), size, atol=2e-3)


def test_it_turns_once_a_turn_and_clockwise():
    """Seen from above the force turns clockwise, as a spindle does after M3 (NISTIR 6556)."""
    force = pulled(1.0, 0.0)
    assert np.abs(force) == pytest.approx(1.0, abs=1e-6)
    steps = np.angle(force[1:] / force[:-1])
    np.testing.assert_allclose(steps, -2 * math.pi / 1024, atol=1e-5)


@given(more=st.floats(0.1, 5.0), held=SIZES, rocking=st.floats(0.0, 1.0), towards=ANGLES)
def test_rocking_adds_half_orders(more: float, held: float, rocking: float, towards: float):
    """
    Of what is loose a share r that changes sides from turn to turn is r / 2 at orders 0.5 and 1.5, no more.

    Half multiples are what a loose rotating part sounds of (Mobley, An Introduction to Predictive
    Maintenance, 14.1.3).
    """
    beside = held + more * np.exp(1j * towards)
    found = orders(pulled(held, more * np.exp(1j * towards), rocking).real)
    assert found[4] == pytest.approx(abs(beside), abs=1e-4)
    assert found[[2, 6]] == pytest.approx(rocking * more / 2, abs=1e-4)
    found[[2, 4, 6]] = 0.0
    assert found.max() < 1e-4


@given(st.integers(0, 10**6))
def test_many_turns_later_it_pulls_as_it_did(turns: int):
    """Every second turn is alike, after a day of them too."""
    one = np.full(64, 1.0 + 1j, np.complex64)
    turn, rocking = np.arange(64) / 32, np.full(64, 0.7)
    np.testing.assert_allclose(
        pull(turn + 2 * turns, one, one, rocking), pull(turn, one, one, rocking), atol=1e-5
    )


# How it sounds

BRISK = Gantry(lead=(0.3, 0.4), stop=(0.2, 0.3), spindle=EXACT.spindle)
PLUNGE = "G1 Z-16 F600"


def down(seed: int, *, slips: bool) -> Recording:
    """A hole that goes straight down, then a second at its bottom; the bit slips on its way, or is held."""
    program = read(
        f"G21 G90 G17\nT1 M6\nS18000 M3\nG4 P1.5\nG0 Z1\nG0 X0 Y0\n{PLUNGE}\nG4 P1\nG0 Z5\nM5\nM2\n"
    )
    fault = Slip(at_line=program.lines.index(PLUNGE) + 1, severity=0.5, rise=0.1) if slips else None
    return record(program, {1: BIT}, seed=seed, rate=RATE, machine=BRISK, fault=fault)


def line_in(made: Recording, order: float, first: float, last: float) -> tuple[float, float]:
    """Level of an order's line, dB, and dB above its surroundings, between seconds from the hole's bottom."""
    truth = made.truth
    bottom = truth.end[np.flatnonzero(truth.cutting & (truth.end - truth.begin > 0.2))[-1]]
    heard = made.samples[round((bottom + first) * RATE) : round((bottom + last) * RATE)]
    return peak_near(heard, order * turns_per_second(made), 4.0)[1:]


def test_a_slip_in_a_hole_raises_the_spindle_line():
    """Straight down, too, order 1 rises by more than 4 dB in the median, and tooth-pass by less than 1 dB."""
    rises = []
    for seed in range(5):
        both = [down(seed, slips=slips) for slips in (False, True)]
        levels = [[line_in(made, order, -0.75, -0.05)[0] for order in (1, 2)] for made in both]
        rises.append(np.subtract(levels[1], levels[0]))
    first, second = np.median(rises, axis=0)
    assert first > 4.0
    assert abs(second) < 1.0


def test_a_loose_bit_that_cuts_nothing_is_heard_where_the_motor_is_not(monkeypatch: pytest.MonkeyPatch):
    """
    With the motor silenced, a bit in the air hums at order 1; half orders are there once it is loose.

    The motor's own line at order 1 covers it as a rule: with that it changes by a decibel or two.
    """
    monkeypatch.setattr(sound, "MOTOR", 0.0)
    held, free = (down(0, slips=slips) for slips in (False, True))
    above = {
        (name, order): line_in(made, order, 0.1, 0.9)[1]
        for name, made in (("held", held), ("free", free))
        for order in (0.5, 1.0, 1.5)
    }
    assert min(above["held", 1.0], above["free", 1.0]) > 15.0
    assert max(above["free", 0.5], above["free", 1.5]) > 15.0
    assert max(above["held", 0.5], above["held", 1.5]) < 10.0
