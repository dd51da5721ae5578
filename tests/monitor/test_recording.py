"""Recordings: every sample once, in blocks, and an honest word when there is trouble."""

import os
import struct
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.errors import SoundError
from monitor.sources import Block, Recording, Source

RATE = 8000
NOISE = (np.random.default_rng(5).integers(-8000, 8000, 3 * RATE) / 2**15).astype(np.float32)


def heard(path: Path, size: int | None = None) -> list[Block]:
    """Hear a whole recording."""
    with Recording(path) as recording:
        return list(recording.blocks(size))


def joined(blocks: list[Block]) -> NDArray[np.float32]:
    """Join blocks to one piece of sound."""
    return np.concatenate([block.samples for block in blocks])


@pytest.fixture(scope="module")
def wav(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write 3 s of noise as a WAV file."""
    path = tmp_path_factory.mktemp("sound") / "noise.wav"
    soundfile.write(path, NOISE, RATE)
    return path


@pytest.mark.parametrize("form", ["wav", "flac", "aiff", "w64", "caf"])
def test_every_sample_is_given_once(tmp_path: Path, form: str):
    """Whatever the file's form, what was written is what is heard, as float32."""
    path = tmp_path / f"noise.{form}"
    soundfile.write(path, NOISE, RATE)
    samples = joined(heard(path))
    assert samples.dtype == np.float32
    np.testing.assert_array_equal(samples, NOISE)


@given(st.integers(1, 4 * RATE))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20, deadline=None)
def test_the_size_of_the_blocks_changes_nothing(wav: Path, size: int):
    """All blocks but the last have the size that was asked for, and together they are the recording."""
    blocks = heard(wav, max(size, 50))
    np.testing.assert_array_equal(joined(blocks), NOISE)
    assert all(len(block.samples) == max(size, 50) for block in blocks[:-1])
    assert not any(block.note for block in blocks)


def test_it_tells_its_name_rate_and_length(wav: Path):
    """A recording is a source and knows its length in samples."""
    with Recording(str(wav)) as recording:
        source: Source = recording
        assert (source.name, source.rate, recording.frames) == ("noise.wav", RATE, len(NOISE))
        assert len(next(recording.blocks()).samples) == RATE


def test_it_can_be_heard_again(wav: Path):
    """Each call of blocks begins at the start."""
    with Recording(wav) as recording:
        next(recording.blocks())
        np.testing.assert_array_equal(joined(list(recording.blocks())), NOISE)


HISS = np.random.default_rng(6).normal(0.0, 1e-3, len(NOISE)).astype(np.float32)
BESIDE = {
    "silent": np.zeros_like(NOISE),
    "hiss of an input with nothing on it": HISS,
    "a constant, which is no sound": HISS + np.float32(0.5),
    "the same turned round": -NOISE,
    "softer": NOISE / 2,
    "clipped": np.clip(20 * NOISE, -1, 1),
    "clipped in a part": np.where(np.arange(len(NOISE)) < RATE, np.clip(20 * NOISE, -1, 1), NOISE / 2),
    "no numbers": np.full_like(NOISE, np.nan),
}


@pytest.mark.parametrize("beside", BESIDE.values(), ids=BESIDE)
@pytest.mark.parametrize("at", [0, 1, 2])
def test_of_several_channels_the_best_is_heard_as_it_is(tmp_path: Path, beside: NDArray[np.float32], at: int):
    """Whatever is in the others, and wherever it stands, they take nothing from it and add nothing."""
    channels = [np.zeros_like(NOISE), beside]
    channels.insert(at, NOISE)
    path = tmp_path / "several.wav"
    soundfile.write(path, np.stack(channels, axis=1), RATE, subtype="FLOAT")
    samples = joined(heard(path, 1000))
    np.testing.assert_array_equal(np.abs(samples), np.abs(NOISE))
    np.testing.assert_array_equal(joined(heard(path)), samples)


def test_a_channel_that_clips_is_heard_to_clip(tmp_path: Path):
    """Where no channel is better its full scale is passed on, and whoever listens sees it."""
    clipped = np.clip(20 * NOISE, -1, 1)
    path = tmp_path / "stereo.wav"
    soundfile.write(path, np.stack([np.zeros_like(NOISE), clipped], axis=1), RATE, subtype="FLOAT")
    np.testing.assert_array_equal(joined(heard(path)), clipped)


def test_a_channel_is_chosen_from_what_can_be_read(tmp_path: Path):
    """A recording that breaks off is heard up to there, whichever of its channels has the sound."""
    path = tmp_path / "half.flac"
    soundfile.write(path, np.stack([np.zeros_like(NOISE), NOISE], axis=1), RATE)
    os.truncate(path, path.stat().st_size // 2)
    blocks = []
    with Recording(path) as recording, pytest.raises(SoundError, match="breaks off"):
        blocks.extend(recording.blocks(500))
    samples = joined(blocks)
    np.testing.assert_array_equal(samples, NOISE[: len(samples)])
    assert len(samples) >= RATE


def test_values_are_passed_on_as_they_are(tmp_path: Path):
    """Clipped, absurd and non-finite samples are not mended: whoever listens must see them."""
    odd = np.array([0.0, 1.5, -1e9, np.nan, np.inf], dtype=np.float32)
    path = tmp_path / "odd.wav"
    soundfile.write(path, odd, RATE, subtype="FLOAT")
    np.testing.assert_array_equal(joined(heard(path)), odd)


def test_a_long_recording_takes_no_more_memory(tmp_path: Path):
    """Twenty minutes of sound are heard in a small part of the memory that they would fill."""
    path = tmp_path / "long.wav"
    soundfile.write(path, np.zeros(1200 * RATE, dtype=np.float32), RATE)
    with Recording(path) as recording:
        tracemalloc.start()
        count = sum(len(block.samples) for block in recording.blocks())
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert count == 1200 * RATE
    assert peak < count * 4 / 50


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, r"there is no recording .*sound\.wav: check its name"),
        (b"", r"not a sound file"),
        (b"this is no sound\n" * 100, r"not a sound file.*give a WAV or FLAC file"),
        (bytes(range(256)) * 50, r"not a sound file"),
    ],
)
def test_what_is_no_sound_is_refused(tmp_path: Path, content: bytes | None, said: str):
    """A file that is missing or no sound is a SoundError of one line that says what to do."""
    path = tmp_path / "sound.wav"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SoundError, match=said) as caught:
        Recording(path)
    assert "\n" not in str(caught.value)


def test_a_folder_is_no_recording(tmp_path: Path):
    """A folder is a SoundError that asks for a file."""
    with pytest.raises(SoundError, match="give the name of a sound file"):
        Recording(tmp_path)


def test_what_a_decoder_finds_is_kept_from_standard_error(tmp_path: Path, capfd: pytest.CaptureFixture[str]):
    """That of MP3 writes lines of its own there; what is ours to say gets there, in between too."""
    path = tmp_path / "half.mp3"
    soundfile.write(path, np.tile(NOISE, 3), RATE)
    os.truncate(path, path.stat().st_size // 2)
    soundfile.SoundFile(path).close()
    assert "Warning" in capfd.readouterr().err
    with Recording(path) as recording, pytest.raises(SoundError, match=r"breaks off after 4\.\d s of 9\.0 s"):
        sum(os.write(2, b".") for _ in recording.blocks())
    assert capfd.readouterr().err == ".....", "one for each second"


def test_a_pipe_is_no_recording(tmp_path: Path):
    """It is not called a file that is no sound, and nothing is taken out of it."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(SoundError, match="is a pipe, and none can be heard: save it as a file"):
        Recording(tmp_path / "pipe")


def test_a_recording_without_a_sample_is_refused(tmp_path: Path):
    """A file of length zero is refused when it is opened, and not heard as calm."""
    path = tmp_path / "nothing.wav"
    soundfile.write(path, NOISE[:0], RATE)
    with pytest.raises(SoundError, match="length is zero"):
        Recording(path)


@pytest.mark.parametrize("form", ["wav", "rf64", "flac"])
def test_a_recording_that_was_cut_short_says_so_after_all_that_is_there(tmp_path: Path, form: str):
    """Half of a file is heard as far as it goes, in blocks of any size; then it says where it breaks off."""
    path = tmp_path / f"half.{form}"
    soundfile.write(path, NOISE, RATE)
    os.truncate(path, path.stat().st_size // 2)
    lengths = []
    for size in (97, 500, RATE, 10 * RATE):
        blocks: list[Block] = []
        with (
            Recording(path) as recording,
            pytest.raises(SoundError, match=r"breaks off after 1\.\d s of 3\.0 s"),
        ):
            blocks.extend(recording.blocks(size))  # extend keeps what came before the error
        samples = joined(blocks)
        assert len(samples) >= RATE
        np.testing.assert_array_equal(samples, NOISE[: len(samples)])
        lengths.append(len(samples))
    assert len(set(lengths)) == 1, "what was decoded of a block before it failed is heard too"


def test_a_recording_of_which_only_the_head_is_left_says_so(tmp_path: Path):
    """A file that breaks off before its first sample is opened by its head, and then said to be broken."""
    path = tmp_path / "head.flac"
    soundfile.write(path, NOISE, RATE)
    os.truncate(path, 500)
    with Recording(path) as recording, pytest.raises(SoundError, match=r"breaks off after 0\.0 s of 3\.0 s"):
        next(iter(recording.blocks()))


@pytest.mark.parametrize("part", [0.5, 0.98])
def test_an_ogg_file_that_was_cut_short_says_so(tmp_path: Path, part: float):
    """Its last page is marked as that: where it is missing, or not whole, the end was not heard."""
    path = tmp_path / "half.ogg"
    soundfile.write(path, np.tile(NOISE, 3), RATE)
    assert len(joined(heard(path))) == 3 * len(NOISE)
    os.truncate(path, round(part * path.stat().st_size))
    with Recording(path) as recording, pytest.raises(SoundError, match=r"breaks off after \d\.\d s, before"):
        list(recording.blocks())


@pytest.mark.parametrize("length", [0x7FFEFFFE, 3_000_000_000, 0xFFFEFFFE])
def test_a_long_recording_that_was_cut_short_says_so(wav: Path, tmp_path: Path, length: int):
    """All lengths are promises, up to the 4 GB that a WAV file can have, but those that mean unknown."""
    content = bytearray(wav.read_bytes())
    content[40:44] = struct.pack("<I", length)
    path = tmp_path / "long.wav"
    path.write_bytes(content)
    said = rf"breaks off after 3\.0 s of {length / 2 / RATE:.1f} s"
    with Recording(path) as recording, pytest.raises(SoundError, match=said):
        list(recording.blocks())


@pytest.mark.parametrize("length", [0xFFFFFFFF, 0x7FFFFFFF, 0x7FFFF000, 0x80000000])
def test_a_recorder_that_did_not_know_the_length_is_believed(wav: Path, tmp_path: Path, length: int):
    """The lengths that recorders write into a pipe promise nothing, so nothing is missing at the end."""
    content = bytearray(wav.read_bytes())
    content[40:44] = struct.pack("<I", length)
    path = tmp_path / "piped.wav"
    path.write_bytes(content)
    np.testing.assert_array_equal(joined(heard(path)), NOISE)


def test_other_chunks_before_the_sound_do_not_matter(wav: Path, tmp_path: Path):
    """A note of odd length in front of the sound, as some recorders write, is passed over."""
    content = wav.read_bytes()
    note = b"LIST" + struct.pack("<I", 5) + b"INFO!\0"
    path = tmp_path / "noted.wav"
    path.write_bytes(content[:36] + note + content[36:])
    np.testing.assert_array_equal(joined(heard(path)), NOISE)


@pytest.mark.parametrize("whole", [0, 36, 48_036])
@pytest.mark.parametrize("note", [b"", b"LIST" + struct.pack("<I", 6) + b"INFO!\0"])
def test_a_recorder_that_was_killed_leaves_sound(wav: Path, tmp_path: Path, whole: int, note: bytes):
    """It never wrote how long the sound is: a length of 0 with sound behind it is not believed."""
    content = bytearray(wav.read_bytes())
    content[4:8], content[40:44] = struct.pack("<I", whole), bytes(4)
    path = tmp_path / "killed.wav"
    path.write_bytes(content[:36] + note + content[36:])
    with Recording(path) as recording:
        assert recording.frames == len(NOISE)
        np.testing.assert_array_equal(joined(list(recording.blocks(500))), NOISE)
        np.testing.assert_array_equal(joined(list(recording.blocks())), NOISE)


def test_a_note_behind_no_sound_is_no_sound(tmp_path: Path):
    """A file whose length truly is zero may have other chunks at its end: they are not heard."""
    path = tmp_path / "nothing.wav"
    soundfile.write(path, NOISE[:0], RATE)
    path.write_bytes(path.read_bytes() + b"LIST" + struct.pack("<I", 6) + b"INFO!\0")
    with pytest.raises(SoundError, match="length is zero"):
        Recording(path)


@pytest.mark.parametrize("name", ["cut.raw", "cut.RAW"])
def test_sound_without_a_header_is_refused(tmp_path: Path, name: str):
    """Nobody can tell its rate: one line says what to give."""
    path = tmp_path / name
    path.write_bytes(NOISE.tobytes())
    with pytest.raises(SoundError, match=r"raw sound without a header: give a WAV or FLAC file"):
        Recording(path)


@pytest.mark.parametrize(("rate", "heard"), [(1000, False), (3999, False), (4000, True)])
def test_a_recording_that_is_too_coarse_is_refused(tmp_path: Path, rate: int, heard: bool):
    """With so few samples a second a tight bit may be taken for a loose one, so it says what to do."""
    path = tmp_path / "coarse.wav"
    soundfile.write(path, NOISE, rate)
    if heard:
        Recording(path).close()
        return
    with pytest.raises(SoundError, match=rf"only {rate} samples a second.*record at 4000 or more"):
        Recording(path)
