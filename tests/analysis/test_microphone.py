"""What a checkup of a microphone finds, against closed forms and simulated microphones."""

import numpy as np
import pytest

from analysis.cutting import Bit
from analysis.listener import ear_for
from analysis.microphone import Checkup, Hum, OwnGain, Spindle, advise, check, floor_level, hum, own_gain
from analysis.windows import window_size
from recordings_synthetic.room import CHEAP_USB, PUMPING, AutomaticGain, Ear, Microphone, Room, Shop, air_of
from recordings_synthetic.room.microphone import ENHANCED

RATE = 16000
BIT = Bit("any", 6.0, 2, 18000.0)


def noise(seconds, deviation, seed=1):
    """Return white noise of a standard deviation; its level is 2 of its variance (AES17)."""
    return deviation * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def tones(seconds, frequencies, amplitudes):
    """Return the sum of sines."""
    time = np.arange(round(seconds * RATE)) / RATE
    pairs = zip(frequencies, amplitudes, strict=True)
    return np.sum([a * np.sin(2 * np.pi * f * time + n) for n, (f, a) in enumerate(pairs)], axis=0)


# --- levels ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("peak", "level"), [(0.5, -6.02), (0.1, -20.0), (0.01, -40.0)])
def test_a_full_scale_sine_is_0_dbfs(peak, level):
    """A sine of amplitude a has 20 log10(a) dBFS (AES17), as level and as peak, whatever is added to it."""
    found = check((tones(3.0, [1000], [peak]) + 0.001).astype(np.float32), RATE, BIT)
    assert found.level == pytest.approx(level, abs=0.05)
    assert found.peak == pytest.approx(20 * np.log10(peak + 0.001), abs=0.05)
    assert found.headroom == -found.peak
    assert found.clipped == 0.0
    assert found.seconds == 3.0


def test_the_floor_is_that_of_the_quietest_moments():
    """Loud for four fifths of the time, the floor is the quiet's level: 10 log10(2 s^2)."""
    sound = np.concatenate([noise(4.0, 0.1), noise(1.0, 0.001, seed=2)])
    assert floor_level(sound, RATE) == pytest.approx(10 * np.log10(2e-6), abs=0.5)


def test_clipping_is_the_share_at_full_scale():
    """A sine of twice full scale is clipped for 2/3 of the time: acos(1/2) / (pi/2)."""
    clipped = np.clip(tones(3.0, [997], [2.0]), -1, 1).astype(np.float32)
    found = check(clipped, RATE, BIT)
    assert found.clipped == pytest.approx(2 / 3, abs=0.002)
    assert "clips" in found.wrong


def test_samples_that_are_no_numbers_are_told_apart():
    """Nothing else is found of them, and it is unfit."""
    found = check(np.full(RATE, np.nan, dtype=np.float32), RATE, BIT)
    assert "not finite" in found.wrong
    assert np.isnan(found.level)
    assert advise(found).verdict == "unfit"


def test_too_little_is_refused():
    """A few samples tell nothing."""
    with pytest.raises(ValueError, match="too few"):
        check(np.zeros(10, dtype=np.float32), RATE, BIT)


# --- what is not heard ----------------------------------------------------------------------------------


@pytest.mark.parametrize("constant", [0.0, 0.02])
def test_a_stretch_in_which_nothing_is_heard_is_unfit(constant):
    """Muted for 2 of 6 s it is not fit, though the rest is: it is said for how long, whatever is added."""
    sound = noise(6.0, 0.01)
    sound[round(2.2 * RATE) : round(4.2 * RATE)] = 0.0
    found = check((sound + constant).astype(np.float32), RATE, BIT)
    assert found.unheard == pytest.approx(2.0, abs=0.3)
    advice = advise(found)
    assert advice.verdict == "unfit"
    assert "of 6.0 s nothing is heard, or next to nothing: unmute it" in advice.change[0]


def test_a_gate_that_lets_only_a_clap_through_is_unfit():
    """Noise suppression that leaves nothing of the quiet is found, and the test of a gain was not made."""
    sound = np.zeros(6 * RATE)
    sound[3 * RATE : round(3.4 * RATE)] = noise(0.4, 0.1)
    found = check(sound.astype(np.float32), RATE, Bit("any", 6.0, 2))
    assert found.gain is None
    advice = advise(found)
    assert advice.verdict == "unfit"
    assert "switch off noise suppression" in advice.change[0]
    assert "automatic gain" in advice.untested[0]


def test_a_gate_that_leaves_its_last_bits_is_unfit():
    """What flickers far below all sound, at -94 dBFS, is as good as nothing."""
    sound = 2e-5 * np.sign(noise(6.0, 1.0))
    sound[: 2 * RATE] = noise(2.0, 0.01)
    found = check(sound.astype(np.float32), RATE, BIT)
    assert found.unheard == pytest.approx(4.0)
    assert "next to nothing" in advise(found).change[0]


def test_a_dropout_too_short_for_watch_is_none_here():
    """Nothing for 0.4 s is not what `watch` calls deaf; nor is quiet far below a clap that clips."""
    sound = noise(6.0, 0.01)
    sound[RATE : round(1.4 * RATE)] = 0.0
    assert check(sound.astype(np.float32), RATE, BIT).unheard == 0.0
    sound = noise(6.0, 0.0005)
    sound[3 * RATE : round(3.1 * RATE)] = 1.0
    assert check(sound.astype(np.float32), RATE, BIT).unheard == 0.0


# --- hum ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mains", [50, 60, 49.95])
def test_the_level_of_hum_is_that_of_its_lines(mains):
    """Lines of amplitudes a have 10 log10(sum of a^2) together, in noise 20 dB and more below each."""
    amplitudes = np.array([0.01, 0.004, 0.006])
    sound = tones(6.0, mains * np.array([1, 2, 3]), amplitudes) + noise(6.0, 0.002)
    found = hum(sound, RATE)
    assert found is not None
    assert (found.mains, found.lines) == (round(mains), 3)
    assert found.level == pytest.approx(10 * np.log10(np.sum(amplitudes**2)), abs=0.3)


@pytest.mark.parametrize("seed", range(5))
def test_noise_has_no_hum(seed):
    """In white noise, which has no lines, nothing is taken for hum."""
    assert hum(noise(6.0, 0.01, seed), RATE) is None


def test_the_spindles_lines_are_no_hum():
    """A spindle at 6000 rpm sounds at 100 and 200 Hz, as the mains' multiples do."""
    sound = tones(6.0, [100, 200], [0.01, 0.01]) + noise(6.0, 0.002)
    assert hum(sound, RATE) == Hum(50, pytest.approx(-37.0, abs=0.3), 2)
    assert hum(sound, RATE, spindle=100.0) is None


# --- a gain of its own ----------------------------------------------------------------------------------


@pytest.mark.parametrize("fell", [0.0, 4.0, 12.0])
def test_how_far_the_floor_falls_after_a_loud_sound(fell):
    """Quiet that is some dB softer for a second after a loud sound is told as that, and its rise."""
    after = noise(1.0, 0.001 * 10 ** (-fell / 20), seed=2)
    sound = np.concatenate([noise(3.0, 0.001), noise(0.2, 0.1), after, noise(2.0, 0.001, seed=3)])
    found = own_gain(sound, RATE)
    assert found is not None
    assert found.sounds == 1
    assert (found.fell, found.rose) == pytest.approx((fell, fell), abs=0.9)


def test_without_a_loud_sound_nothing_is_told_of_the_gain():
    """A steady sound tells nothing, nor does a loud one that lasts, or one after unsteady quiet."""
    quiet, loud = noise(4.0, 0.001), noise(0.2, 0.1)
    waves = 1.0 + 0.8 * np.sin(2 * np.pi * np.arange(len(quiet)) / RATE)
    assert own_gain(noise(6.0, 0.01), RATE) is None
    assert own_gain(np.concatenate([quiet, noise(2.0, 0.1)]), RATE) is None
    assert own_gain(np.concatenate([quiet, noise(2.0, 0.1), quiet]), RATE) is None
    assert own_gain(np.concatenate([quiet * waves, loud, quiet]), RATE) is None
    assert own_gain(np.concatenate([quiet, loud, quiet]), RATE) is not None


def test_a_machine_that_is_switched_off_after_the_clap_is_a_caution():
    """What falls and stays so may be the shop's own."""
    sound = np.concatenate([noise(4.0, 0.001), noise(0.2, 0.1), noise(4.0, 0.0003, seed=2)])
    advice = advise(check(sound.astype(np.float32), RATE, Bit("any", 6.0, 2)))
    assert advice.verdict == "caution"
    assert any("unless something was switched off" in said for said in advice.change)


def test_quiet_of_samples_that_are_all_the_same_tells_nothing_of_the_gain():
    """Zero can become no softer: a gate that shuts beside a clap is no proof of a gain that stays."""
    zeros, clap = np.zeros(3 * RATE), noise(0.4, 0.1)
    assert own_gain(np.concatenate([zeros, clap, zeros]), RATE) is None
    assert own_gain(np.concatenate([noise(3.0, 0.001), clap, zeros]) - 0.01, RATE) is None


def clapped(microphone, background, seed, room=Room()):  # noqa: B008 - a frozen value
    """Return what a simulated microphone in a room makes of a quiet shop in which somebody claps once."""
    shop = Shop(background=background, microphone=microphone, room=room)
    air = air_of(shop, 8 * RATE, RATE, seed).astype(np.float64)
    clap = noise(0.15, 0.3, seed) * np.exp(-np.arange(round(0.15 * RATE)) / (0.03 * RATE))
    air[4 * RATE : 4 * RATE + len(clap)] += clap
    return Ear(shop.microphone, RATE, seed)(air)


@pytest.mark.parametrize("background", [-60.0, -40.0])
@pytest.mark.parametrize(
    ("microphone", "moves"),
    [
        (Microphone(), False),
        (CHEAP_USB, False),
        (PUMPING, True),
        (ENHANCED, True),
        (Microphone(gain=AutomaticGain()), True),
    ],
)
def test_simulated_automatic_gain_is_told_from_none(microphone, moves, background):
    """In a room that rings on, a gain that moves by itself is unfit, and one that stays is not."""
    found = check(clapped(microphone, background, seed=4), RATE, BIT)
    assert found.gain is not None
    assert found.gain.fell > 12.0 if moves else found.gain.fell <= 1.5
    assert any("a gain moves by itself" in said for said in advise(found).change) is moves


def any_room(seed):
    """Return a room of any size, bare or furnished, with the microphone at any distance."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(4.0, 10.0), rng.uniform(3.0, 6.0), rng.uniform(2.3, 3.5)
    return Room(size, rng.uniform(0.3, 0.7), rng.uniform(0.5, 1.0), seed)


@pytest.mark.slow
@pytest.mark.parametrize("background", [-60.0, -40.0])
@pytest.mark.parametrize("seed", range(100, 112))
def test_so_it_is_in_any_room(seed, background):
    """In twelve rooms a gain that stays lets the quiet fall by 2 dB at most, one that moves by over 12 dB."""
    moves = {CHEAP_USB: False, Microphone(): False, PUMPING: True, Microphone(gain=AutomaticGain()): True}
    for microphone, by_itself in moves.items():
        found = own_gain(clapped(microphone, background, seed, any_room(seed)), RATE)
        assert found is not None
        assert found.fell > 12.0 if by_itself else found.fell <= 2.0


# --- the spindle ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("told", [18000.0, 16500.0])
def test_how_far_the_spindles_lines_stand_out(told):
    """
    Lines of amplitude a in white noise of deviation s stand 10 log10(1 + a^2 n / 12 s^2) above it.

    A Hann-windowed line has its power in three bins of n / 2, of which each holds 4 s^2 / n of the noise.
    """
    bit = Bit("any", 6.0, 2, told)
    ear = ear_for(RATE, bit, window_size(RATE, 60 / told))
    a, s = 0.02, 0.05
    sound = tones(4.0, 300.0 * ear.lines, np.full(len(ear.lines), a)) + noise(4.0, s)
    found = check(sound.astype(np.float32), RATE, bit).spindle
    expected = 10 * np.log10(1 + a**2 * ear.size / (12 * s**2))
    assert found is not None
    assert found.speed == pytest.approx(18000, rel=0.002)
    assert found.line == pytest.approx(expected, abs=1.0)
    assert found.teeth == pytest.approx(expected, abs=1.0)


def test_noise_has_no_spindle():
    """White noise has no comb, which is a caution where a spindle was said to run."""
    nothing = check(noise(4.0, 0.05).astype(np.float32), RATE, BIT)
    assert nothing.spindle is None
    assert any("no spindle is heard near 18000 rpm" in said for said in advise(nothing).change)


# --- the verdict ----------------------------------------------------------------------------------------


def found(**changed):
    """Return a checkup of a good microphone, but for what is changed."""
    good = {
        "rate": 48000,
        "seconds": 8.0,
        "wrong": "",
        "level": -30.0,
        "peak": -12.0,
        "swing": -12.0,
        "clipped": 0.0,
        "floor": -50.0,
        "gain": OwnGain(1, 0.4, 0.4),
        "told": 18000.0,
        "spindle": Spindle(18000.0, 12.0, 15.0),
    }
    return Checkup(**(good | changed))


@pytest.mark.parametrize(
    ("changed", "verdict", "said"),
    [
        ({}, "fit", ""),
        ({"wrong": "all samples are the same"}, "unfit", "all samples are the same"),
        ({"unheard": 2.0}, "unfit", "for 2.0 s of 8.0 s nothing is heard"),
        ({"gain": OwnGain(2, 6.0, 2.5)}, "unfit", "switch off automatic gain"),
        ({"gain": OwnGain(2, 6.0, 2.3)}, "caution", "softer after a loud sound"),
        ({"gain": OwnGain(1, 3.0, 3.0)}, "caution", "softer after a loud sound"),
        ({"clipped": 0.001, "peak": 0.0}, "caution", "full scale"),
        ({"peak": -5.0}, "caution", "only 5 dB of headroom"),
        ({"peak": -51.0, "swing": -51.0}, "caution", "turn the gain up"),
        ({"hum": Hum(50, -52.0, 3)}, "caution", "another cable"),
        ({"hum": Hum(50, -54.0, 3)}, "fit", ""),
        ({"spindle": Spindle(18000.0, 1.0, 2.9)}, "caution", "hardly stands out"),
        ({"rate": 11025}, "caution", "higher rate"),
    ],
)
def test_the_verdict_says_what_to_change(changed, verdict, said):
    """One verdict, and a sentence for each thing that is wrong, with what to do."""
    advice = advise(found(**changed))
    assert advice.verdict == verdict
    assert [said in each for each in advice.change] == [True] * (verdict != "fit")
    assert advice.untested == ()


@pytest.mark.parametrize("constant", [0.0, 0.02])
def test_a_constant_hides_not_that_all_is_very_soft(constant: float):
    """Cheap converters add one: it is no sound, whatever the highest sample is."""
    soft = (noise(6.0, 3e-4) + constant).astype(np.float32)
    advice = advise(check(soft, RATE, BIT))
    assert advice.verdict == "caution"
    assert any("very soft" in each for each in advice.change)


def test_what_was_not_tested_is_said():
    """A verdict holds for what was tested, and says how to test the rest."""
    advice = advise(found(gain=None, told=None, spindle=None))
    assert advice.verdict == "fit"
    assert ["clap" in advice.untested[0], "--rpm" in advice.untested[1]] == [True, True]
