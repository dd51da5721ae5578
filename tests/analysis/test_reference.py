"""Is it tight? Two normals are compared; what is known of a bit grows with the cuts that were accepted."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Baseline, Sample
from analysis.evidence import SOUGHT
from analysis.reference import _BY_CHANCE, _CLAMPED, Known, Reference, compare, doubt, from_plain, to_plain

BANDS = 6
SCALE = np.array([4.0, 2.5, 2.5, 2.5, 2.0, 0.5])


def baseline(signs=0.0, *, rows: int = 60, level: float = -20.0, single: bool = False) -> Baseline:
    """A baseline whose signs lie so many dB above what a tight bit surely has."""
    normal = Sample(
        plain=TRUE_ENOUGH + np.broadcast_to(np.asarray(signs, dtype=np.float64), (SIGNS,)),
        colour=np.linspace(level - 10.0, level - 30.0, BANDS),
        level=level,
        hiss=level - 15.0,
        noise=level - 35.0,
        own=0.9,
        foreign=0.0,
        teeth=level - 5.0,
        speed=300.0,
        single=single,
    )
    return Baseline(rows, normal, np.zeros(len(CHANNELS)), SCALE)


LOOSE = SOUGHT * SCALE[:SIGNS]


def test_the_same_sound_is_tight_and_a_slip_is_loose():
    """Against itself a bit is tight; with all that a slip moves it is loose, and that is said in words."""
    known = Known.of([baseline()])
    assert compare(baseline(), known, 0.0).verdict == "tight"
    found = compare(baseline(LOOSE), known, 0.0)
    assert found.verdict == "loose"
    assert any("half orders rose" in sentence for sentence in found.because)


def test_the_level_does_not_matter():
    """The microphone nearer or farther, 6 dB either way, changes nothing."""
    known = Known.of([baseline()])
    found = {compare(baseline(3.0, level=level), known, 0.5) for level in (-26.0, -20.0, -14.0)}
    assert len(found) == 1


def test_another_microphone_is_said_and_speaks_for_nothing():
    """Dull, all treble is 15 dB weaker: the verdict stays, tight or loose, and a question follows."""
    known = Known.of([baseline()])
    for signs in (0.0, LOOSE):
        here = baseline(signs)
        colour = here.normal.colour - np.repeat([0.0, 15.0], BANDS // 2)
        elsewhere = dataclasses.replace(here, normal=dataclasses.replace(here.normal, colour=colour))
        found, usual = compare(elsewhere, known, 0.0), compare(here, known, 0.0)
        assert (found.verdict, found.nats) == (usual.verdict, usual.nats)
        assert found.because[:-1] == usual.because
        assert "another microphone" in found.because[-1]


def test_what_turns_at_another_speed_is_never_called_loose():
    """Another bit, or another machine: with all the signs of a slip it is a doubt, which says why."""
    other = baseline(LOOSE)
    other = dataclasses.replace(other, normal=dataclasses.replace(other.normal, speed=342.0))
    found = compare(other, Known.of([baseline()]), 0.0)
    assert found.verdict == "doubtful"
    assert "20520 rpm, not at 18000" in found.because[-1]


def test_one_band_is_no_other_microphone():
    """A machine in the shop sounds there."""
    here = baseline()
    colour = here.normal.colour + np.eye(BANDS)[2] * 12.0
    with_machine = dataclasses.replace(here, normal=dataclasses.replace(here.normal, colour=colour))
    assert compare(with_machine, Known.of([here]), 0.0) == compare(here, Known.of([here]), 0.0)


def test_evidence_is_the_ratio_of_two_normal_densities():
    """
    Within its bounds a sign counts as the logarithm of N(x; slip, v) / N(x; 0, v).

    The most powerful comparison of two simple hypotheses (Neyman and Pearson, Phil. Trans. R. Soc. A 231
    (1933) 289-337), here worked out for one sign by hand: slip 0.8 * 1.25 * 2.5 dB, v = spread² + two errors.
    """
    known, fresh = Known.of([baseline()]), baseline([0.0, 0.0, 2.0, 0.0, 0.0])
    error = 2.5**2 / (0.64 * 60)
    slip, variance = 0.8 * 1.25 * 2.5, known.spread[2] ** 2 + 2 * error
    gained = (-((2.0 - slip) ** 2) + 2.0**2) / (2 * variance)
    lost = -(slip**2) / (2 * variance)
    without = compare(baseline(), known, 0.0).nats
    assert compare(fresh, known, 0.0).nats - without == pytest.approx(gained - lost)


@pytest.mark.parametrize("sign", range(SIGNS))
def test_one_sign_alone_is_never_enough(sign: int):
    """However strong it is: a tone from elsewhere may hit it."""
    moved = np.zeros(SIGNS)
    moved[sign] = 40.0
    assert compare(baseline(moved), Known.of([baseline()]), 0.0).verdict != "loose"


def test_below_what_a_tight_bit_may_have_all_is_alike():
    """A rise from nothing to a little is no rise."""
    known = Known.of([baseline(-30.0)])
    assert compare(baseline(-0.1), known, 0.0) == compare(baseline(-30.0), known, 0.0)


@given(moved=st.floats(0.0, 30.0), more=st.floats(0.0, 10.0))
def test_more_of_the_signs_is_never_tighter(moved: float, more: float):
    """What speaks for a loose bit grows with the signs."""
    known = Known.of([baseline()])
    assert compare(baseline(moved + more), known, 0.5).nats >= compare(baseline(moved), known, 0.5).nats


def test_cuts_that_differ_allow_more():
    """A bit whose accepted cuts differ by 6 dB is not called loose for a rise that it had before."""
    alike = Known.of([baseline()] * 4)
    differing = Known.of([baseline(np.array([x, x, x, x, x])) for x in (-0.0, 6.0, 0.0, 6.0)])
    assert (differing.spread > alike.spread).all()
    moved = baseline(5.0)
    assert compare(moved, differing, 0.0).nats < compare(moved, alike, 0.0).nats


def test_a_single_flute_is_judged_by_its_half_orders_and_rocking():
    """All its whole orders are a tooth's: they say nothing."""
    known = Known.of([baseline(single=True)])
    assert compare(baseline([30.0, 30.0, 0.0, 30.0, 0.0], single=True), known, 0.0).verdict == "tight"
    assert compare(baseline([0.0, 0.0, 9.0, 0.0, 9.0], single=True), known, 0.0).verdict == "loose"


def test_two_clampings_differ_by_chance():
    """
    Aside by two normal parts, a bit's runout differs from clamping to clamping as simulated here.

    No more than one in twenty is farther beyond another one than is taken for chance.
    """
    rng = np.random.default_rng(1)
    aside = np.abs(rng.standard_normal((2, 200_000)) + 1j * rng.standard_normal((2, 200_000)))
    differ = 20.0 * np.log10(aside[0] / aside[1])
    assert np.std(differ) == pytest.approx(_CLAMPED, rel=0.01)
    assert np.mean(differ > _BY_CHANCE) == pytest.approx(0.05, abs=0.002)


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_runout_alone_is_not_loose_where_it_was_clamped_anew(spindle: float, between: float, swell: float):
    """Up to ten times as much, half orders and rocking as they were: tight, which is said, or in doubt."""
    known, fresh = Known.of([baseline()]), baseline([spindle, between, 0.0, swell, 0.0])
    found, anew = compare(fresh, known, 0.0), compare(fresh, known, 0.0, clamped_anew=True)
    assert anew.verdict != "loose"
    assert (anew.verdict == "tight") >= (found.verdict == "tight")
    assert ("collet" in anew.because[0]) == (anew.verdict == "tight" != found.verdict)


def test_a_slip_is_one_where_it_was_clamped_anew():
    """What rocks is loose, however it runs out; the same sound is tight, and nothing else is said of it."""
    known = Known.of([baseline()])
    assert compare(baseline(LOOSE), known, 0.0, clamped_anew=True).verdict == "loose"
    assert compare(baseline(), known, 0.0, clamped_anew=True) == compare(baseline(), known, 0.0)


def test_a_doubt_without_a_plain_sign_says_so():
    """Where nothing has risen by much, and nothing lies where it should, that is what is said."""
    found = compare(baseline(2.2), Known.of([baseline()]), 0.0)
    assert found.verdict == "doubtful"
    assert found.because == (
        "no sign of a loose bit is plainly stronger, and none is plainly as with the bit tight",
    )


def test_physics_alone_only_doubts():
    """Runout is any bit's; strong half orders with a swell of every second turn are no tight one's."""
    assert doubt(baseline([30.0, 30.0, 0.0, 30.0, 0.0]), 0.5).verdict == "tight"
    assert doubt(baseline(25.0), 0.5).verdict == "doubtful"


def test_a_reference_knows_each_kind_of_cut_from_the_runs_that_had_it():
    """Three runs, of which one plunged."""
    reference = Reference.of(
        [{"across": baseline()}, {"across": baseline(), "down": baseline()}, {"across": baseline()}]
    )
    assert {kind: known.runs for kind, known in reference.kinds.items()} == {"across": 3, "down": 1}
    assert reference.alike > 0.0


def test_without_a_cut_there_is_no_reference():
    """No baseline tells nothing."""
    with pytest.raises(ValueError, match="one cut"):
        Known.of([])


@given(moved=st.floats(-20.0, 30.0), single=st.booleans())
def test_a_baseline_survives_being_written_down(moved: float, *, single: bool):
    """Through JSON and back, to the last bit."""
    before = baseline(moved, single=single)
    after = from_plain(json.loads(json.dumps(to_plain(before))))
    assert to_plain(after) == to_plain(before)
    assert compare(after, Known.of([before]), 0.5).verdict == "tight"


def test_a_baseline_that_was_written_with_more_numbers_is_read():
    """What an earlier version kept and nobody looks at today is passed over."""
    written = to_plain(baseline())
    more = {**written, "normal": {**written["normal"], "line": -40.0}}
    assert to_plain(from_plain(more)) == written


@pytest.mark.parametrize("wrong", [{}, {"rows": 1}, {"normal": {}}])
def test_what_is_no_baseline_is_refused(wrong: dict[str, object]):
    """Each in one line."""
    with pytest.raises(ValueError, match="no baseline"):
        from_plain(wrong)


def test_a_baseline_with_other_signs_is_refused():
    """It says what to do."""
    short = dataclasses.replace(baseline(), centre=np.zeros(3))
    with pytest.raises(ValueError, match="accept the runs anew"):
        from_plain(to_plain(short))
