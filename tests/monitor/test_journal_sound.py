"""The journal's sound: exact, in segments, readable whatever happened to its files."""

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_bench import NOISE, RATE, begin, names_of_sound

from analysis.errors import JournalError
from monitor.journal import open_run
from monitor.journal.schema import connect
from monitor.journal.sound import FULL_SCALE, to_integers
from monitor.testing import FakeClock


@given(st.data())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15, deadline=None)
def test_any_part_of_the_sound_comes_back_exactly(tmp_path: Path, data: st.DataObject):
    """Whatever the blocks and the bounds, the sound of a 16-bit microphone is the same to the last bit."""
    cuts = sorted(data.draw(st.lists(st.integers(0, len(NOISE)), max_size=5)))
    with begin(tmp_path, FakeClock()) as journal:
        for block in np.split(NOISE, cuts):
            journal.sound(block)
    first, last = data.draw(st.integers(-9, len(NOISE) + 9)), data.draw(st.integers(-9, len(NOISE) + 9))
    heard = open_run(tmp_path, journal.id).sound(first, last)
    np.testing.assert_array_equal(heard, NOISE[max(first, 0) : max(last, 0)])


def test_sound_lies_in_flac_segments_once_they_are_full(tmp_path: Path, clock: FakeClock):
    """Full segments are FLAC, the one being written is WAV, and each holds the samples of its 2 s."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE)
    assert names_of_sound(journal) == ["000001.flac", "000002.flac", "000003.flac", "000004.wav"]
    journal.close()
    assert names_of_sound(journal) == ["000001.flac", "000002.flac", "000003.flac", "000004.flac"]
    second, rate = soundfile.read(journal.folder / "sound" / "000002.flac", dtype="float32")
    np.testing.assert_array_equal(second, NOISE[2 * RATE : 4 * RATE])
    assert rate == RATE


def test_the_wav_header_is_kept_right(tmp_path: Path, clock: FakeClock):
    """A second after samples were handed over any program can read them from the unfinished WAV file."""
    with begin(tmp_path, clock) as journal:
        journal.sound(NOISE[:700])
        clock.advance(1.1)
        journal.sound(NOISE[700:900])
        samples, rate = soundfile.read(journal.folder / "sound" / "000001.wav", dtype="float32")
    np.testing.assert_array_equal(samples, NOISE[:900])
    assert rate == RATE


@pytest.mark.parametrize("header", [b"\0" * 44, b"\xff" * 44])
def test_a_wrong_header_does_not_matter(tmp_path: Path, clock: FakeClock, header: bytes):
    """The samples of a killed run are read whatever its last header says, and half a sample is left out."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE[:900])
    journal.event("state", 0.9, {})
    with (journal.folder / "sound" / "000001.wav").open("r+b") as file:
        file.write(header)
        file.seek(-1, 2)
        file.truncate()
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(), NOISE[:899])
    journal.close()


def test_missing_sound_is_never_silence(tmp_path: Path, clock: FakeClock):
    """Where a segment's file is gone or spoilt the sound is NaN, and the rest is there."""
    with begin(tmp_path, clock) as journal:
        journal.sound(NOISE)
    (journal.folder / "sound" / "000002.flac").unlink()
    (journal.folder / "sound" / "000003.flac").write_bytes(b"spoilt")
    heard = open_run(tmp_path, journal.id).sound()
    missing = slice(2 * RATE, 6 * RATE)
    assert np.isnan(heard[missing]).all()
    np.testing.assert_array_equal(np.delete(heard, missing), np.delete(NOISE, missing))


def test_without_sound_nothing_is_recorded(tmp_path: Path, clock: FakeClock):
    """A run that keeps no sound has no sound file, and asking for it says so."""
    with begin(tmp_path, clock, keep_sound=False) as journal:
        journal.sound(NOISE)
    assert names_of_sound(journal) == []
    with pytest.raises(JournalError, match="kept no sound"):
        open_run(tmp_path, journal.id).sound()


def test_a_rate_that_flac_does_not_know_stays_wav(tmp_path: Path, clock: FakeClock):
    """Sound is kept even where it cannot become FLAC."""
    with begin(tmp_path, clock, rate=1_000_000) as journal:
        journal.sound(NOISE)
    assert names_of_sound(journal) == ["000001.wav"]
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(), NOISE)


def test_24_bits_hold_what_a_microphone_gives():
    """Integers of 16 and 24 bits are exact; beyond full scale is clipped; what is not finite becomes zero."""
    given_as = np.array([0, 1, -1, 2**23 - 1, -(2**23), 255 * 256, -(2**15) * 256])
    np.testing.assert_array_equal(to_integers((given_as / FULL_SCALE).astype(np.float32)), given_as)
    odd = np.array([1.0, 7.0, -7.0, np.nan, np.inf, -np.inf], dtype=np.float32)
    assert to_integers(odd).tolist() == [2**23 - 1, 2**23 - 1, -(2**23), 0, 0, 0]


def test_a_segment_is_found_whichever_form_it_has(tmp_path: Path, clock: FakeClock):
    """A program killed after it made the FLAC and before it listed it leaves a segment that is read."""
    with begin(tmp_path, clock) as journal:
        journal.sound(NOISE[:900])
    with closing(connect(journal.folder / "run.sqlite")) as db:
        db.execute("UPDATE segments SET path = 'sound/000001.wav', samples = NULL")
    assert names_of_sound(journal) == ["000001.flac"]
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(), NOISE[:900])
