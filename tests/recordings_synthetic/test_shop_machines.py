"""Machines of the shop: each has the tones, rhythms and bursts that its kind states."""

from dataclasses import replace

import numpy as np
import pytest
from listened import RATE, band, between, chance, decibels, lines, loudness, rhythm, size, stretch, strongest

from recordings_synthetic.shop.compressor import Compressor
from recordings_synthetic.shop.extractor import Extractor
from recordings_synthetic.shop.planer import Planer
from recordings_synthetic.shop.router import Router
from recordings_synthetic.shop.saw import Saw
from recordings_synthetic.shop.work import loaded, switched


def test_machines_differ_and_stay_within_their_kinds():
    """By chance come fans with 282 to 595 Hz, pumps with 10 to 15 strokes a second, saws at about 4 kHz."""
    fans = [Extractor.drawn(chance(seed)) for seed in range(50)]
    assert all(280.0 < fan.shaft * fan.blades < 600.0 for fan in fans)
    assert all(10.0 <= Compressor.drawn(chance(seed)).pump <= 15.0 for seed in range(50))
    for make in (Saw.table, Saw.mitre):
        saws = [make(chance(seed)) for seed in range(50)]
        assert all(3700.0 <= saw.spin * saw.teeth <= 4500.0 for saw in saws)
    assert len({fan.shaft for fan in fans}) == 50


def test_a_fan_sounds_at_its_blades_and_runs_up_and_down():
    """Its strongest tone lies at shaft x blades; it is lower while it runs up, and gone when it ends."""
    sound = Extractor(shaft=48.0, blades=10).play(stretch(20.0, stops=True), chance())
    assert strongest(between(sound, 6.0, 12.0), 200.0, 2000.0) == pytest.approx(480.0, rel=0.005)
    assert 200.0 < strongest(between(sound, 0.8, 0.9), 200.0, 700.0) < 400.0
    assert size(sound[-RATE // 10 :]) < 0.01 * size(between(sound, 6.0, 12.0))


def test_a_fan_is_quieter_at_half_its_speed_by_fifteen_decibels():
    """Sound power goes with the fifth power of the speed (common practice): 50 log10(2) = 15.05 dB."""
    half = 20.0 * np.log(2.0)  # s, until a fan that runs up slowly has half of its speed
    creeping = band(Extractor(rise=20.0).play(stretch(half + 1.0), chance()), 600.0, 4000.0)
    running = band(Extractor(rise=0.5).play(stretch(8.0), chance()), 600.0, 4000.0)
    there = size(between(creeping, half - 0.5, half + 0.5))
    assert decibels(there / size(between(running, 6.0, 8.0))) == pytest.approx(-15.05, abs=0.8)


def test_a_bag_flaps():
    """Below 400 Hz the extractor's loudness swells with the bag's flutter."""
    sound = Extractor(flutter=6.0).play(stretch(40.0), chance())
    assert rhythm(band(between(sound, 5.0, 40.0), 120.0, 330.0), 2.0, 15.0) == pytest.approx(6.0, rel=0.2)


def test_a_compressor_thumps():
    """Its valves clatter once a stroke, and its lines lie at multiples of the strokes."""
    sound = Compressor(pump=12.0, run=(60.0, 60.0)).play(stretch(40.0), chance())
    steady = between(sound, 1.0, 5.0)
    assert rhythm(band(steady, 1500.0, 4000.0), 5.0, 30.0) == pytest.approx(12.0, rel=0.02)
    near = strongest(steady, 80.0, 89.0)
    assert near / 12.0 == pytest.approx(7.0, rel=0.02)
    assert strongest(steady, 98.0, 102.0) == pytest.approx(100.0, abs=0.3)


def test_a_compressor_slows_against_the_pressure():
    """While the tank fills, its strokes become slower by up to 4 %."""
    sound = Compressor(pump=12.0, run=(60.0, 60.0)).play(stretch(58.0), chance())
    early, late = (rhythm(band(between(sound, a, a + 6.0), 1500.0, 4000.0), 5.0, 18.0) for a in (0.5, 50.0))
    assert 0.94 < late / early < 0.985


def test_a_compressor_switches_on_and_off():
    """It runs for its time, is silent for its time, and lets air out with a hiss as it stops."""
    sound = Compressor(run=(5.0, 5.0), rest=(8.0, 8.0)).play(stretch(20.0), chance())
    assert size(between(sound, 7.5, 8.9)) < 1e-3 * size(between(sound, 1.0, 5.0))
    assert size(between(sound, 9.5, 14.0)) == pytest.approx(size(between(sound, 1.0, 5.0)), rel=0.2)
    high = band(sound, 5000.0, 9000.0)
    assert size(between(high, 5.05, 5.3)) > 2.0 * size(between(high, 3.0, 4.9))


def test_a_table_saw_sounds_at_its_teeth_and_is_slowed_by_a_board():
    """Its tone lies at spin x teeth; while it cuts the tone sinks by its droop, and the noise rises."""
    saw = Saw(spin=66.0, teeth=60, cut=(4.0, 4.0), gap=(6.0, 6.0), droop=0.03)
    sound = saw.play(stretch(25.0), chance())
    begun = 3.0 * saw.rise + 3.0
    idle, cut = between(sound, begun - 1.0, begun - 0.1), between(sound, begun + 0.5, begun + 3.8)
    assert strongest(idle, 3000.0, 5000.0) == pytest.approx(3960.0, rel=0.01)
    assert strongest(cut, 3000.0, 5000.0) == pytest.approx(0.97 * 3960.0, rel=0.01)
    assert 6.0 < decibels(size(cut) / size(idle)) < 25.0


def test_a_table_saw_whistles():
    """Where its disc sings there is a narrow band of noise, well above what lies beside it."""
    sound = Saw(whistle=5300.0, gap=(1e3, 1e3)).play(stretch(12.0), chance())
    frequency, height = lines(between(sound, 6.0, 12.0))
    sings, beside = (np.mean(height[np.abs(frequency - f) < 25.0] ** 2) for f in (5300.0, 5700.0))
    assert decibels(np.sqrt(sings / beside)) > 10.0


def test_a_mitre_saw_is_started_for_each_cut_and_braked():
    """It runs for its time, a brake has it still within two seconds, and it rests until the next run."""
    saw = replace(Saw.mitre(chance(1)), run=(4.0, 4.0), rest=(8.0, 8.0))
    loud = loudness(saw.play(stretch(12.0), chance(2)), 0.1)
    assert loud[10:39].min() > 0.02 * loud.max()
    assert loud[60:79].max() < 1e-3 * loud.max()  # the first pause is half as long as others
    assert loud[90:119].min() > 0.02 * loud.max()


def test_a_planer_howls_at_its_knives():
    """Without a board there are lines at head x knives and its multiples; a board slows it and adds noise."""
    planer = Planer(head=140.0, knives=2, board=(8.0, 8.0), gap=(10.0, 10.0), droop=0.05)
    sound = planer.play(stretch(20.0), chance())
    idle, cut = between(sound, 4.5, 6.9), between(sound, 8.0, 14.5)
    for multiple in (1, 2, 3):
        near = strongest(idle, 280.0 * multiple - 100.0, 280.0 * multiple + 100.0)
        assert near == pytest.approx(280.0 * multiple, rel=0.01)
    assert strongest(cut, 200.0, 350.0) == pytest.approx(0.95 * 280.0, rel=0.01)
    assert decibels(size(cut) / size(idle)) > 6.0


def test_a_planer_snipes():
    """The ends of a board are louder than its middle."""
    sound = Planer(board=(8.0, 8.0), gap=(10.0, 10.0)).play(stretch(20.0), chance())
    assert size(between(sound, 7.1, 7.3)) > 1.2 * size(between(sound, 9.0, 13.0))


def test_another_router_has_its_teeth_and_little_runout():
    """While it cuts its strongest line lies at speed x flutes; that at its speed is weaker by far."""
    router = Router(speed=300.0, flutes=2, runout=0.1, cut=(6.0, 6.0), gap=(4.0, 4.0), droop=0.0)
    sound = router.play(stretch(12.0), chance())
    assert strongest(between(sound, 4.0, 8.5), 100.0, 3000.0) == pytest.approx(600.0, rel=0.01)
    turn, teeth = (size(band(between(sound, 4.0, 8.5), f - 30.0, f + 30.0)) for f in (300.0, 600.0))
    assert decibels(turn / teeth) < -12.0


def test_another_router_is_not_regulated():
    """A pass slows it by its droop, and between the passes it runs free and quieter."""
    router = Router(speed=300.0, flutes=3, cut=(6.0, 6.0), gap=(4.0, 4.0), droop=0.06)
    sound = router.play(stretch(12.0), chance())
    free, cut = between(sound, 1.5, 2.8), between(sound, 4.0, 8.5)
    assert strongest(free, 1900.0, 2200.0) == pytest.approx(2100.0, rel=0.012)  # the fan's seven blades
    assert strongest(cut, 700.0, 1000.0) < 0.98 * 900.0
    assert decibels(size(cut) / size(free)) > 4.0


def test_the_noise_of_another_router_comes_and_goes_with_its_teeth():
    """The loudness of its hiss swells at the passing of its teeth."""
    router = Router(speed=200.0, flutes=2, cut=(6.0, 6.0), gap=(4.0, 4.0), droop=0.0)
    sound = band(router.play(stretch(12.0), chance()), 5000.0, 9000.0)
    assert rhythm(between(sound, 4.0, 8.5), 100.0, 900.0, step=0.0005) == pytest.approx(400.0, rel=0.01)


def test_work_fits_into_the_runs():
    """Runs begin at once and end when they must; whole cuts lie within them, in order."""
    runs = switched(stretch(100.0), chance(), (4.0, 9.0), (3.0, 6.0), 80.0)
    cuts = loaded(runs, chance(), 100.0, (1.0, 2.0), (0.5, 1.0))
    assert runs[0][0] == 0.0
    assert runs[-1][1] <= 80.0
    assert all(4.0 <= b - a <= 9.0 for a, b in runs[:-1])
    assert all(any(a <= x and y <= b for a, b in runs) for x, y in cuts)
    assert all(1.0 <= y - x <= 2.0 for x, y in cuts)
    assert len(cuts) > 10
