"""
People talking: invented sentences, spoken by Debian's ``espeak-ng`` while the sound is made.

The same seed gives the same samples as long as ``espeak-ng`` is of the same version. The kind ``speech``
needs no other program, and is only a buzz in the rhythm of talk.
"""

import io
import math
import shutil
import subprocess
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.errors import SoundError
from recordings_synthetic.shop.stretch import Floats, Singles, Stretch

PROGRAM = "espeak-ng"
VOICES = ("m1", "m2", "m3", "m4", "m5", "m7", "f1", "f2", "f3", "f4")
ACCENTS = ("en-us", "en-gb", "en-gb-scotland")

WHO = ("I", "You", "We", "They", "The apprentice", "Somebody", "Nobody")
DID = ("counted", "sanded", "stacked", "forgot", "measured", "packed", "turned over", "wiped down")
WHAT = (
    "the seedling trays",
    "two more plant stands",
    "that sheet of poplar plywood",
    "the trays with the small holes",
    "the offcuts by the door",
    "the stand for the window",
    "every second slat",
)
WHEN = ("this morning", "before lunch", "twice", "while the glue was wet", "on the wrong bench", "again", "")
ASKED = (
    "Where did the pencil go?",
    "Is that enough for forty seedlings?",
    "Could you hold the other end, please?",
    "Do the corners look square to you?",
    "Who left the window open?",
    "Yes.",
    "No, the other one.",
    "Hang on a moment.",
    "Tomatoes need a deeper tray than lettuce does.",
)


@dataclass(frozen=True)
class Speaker:
    """Someone who talks: accent and voice, words a minute, pitch (0 to 99), loudness."""

    voice: str
    speed: int
    pitch: int
    loud: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Speaker":
        """Return one by chance."""
        voice = f"{rng.choice(ACCENTS)}+{rng.choice(VOICES)}"
        speed, pitch = int(rng.integers(135, 200)), int(rng.integers(25, 75))
        return cls(voice, speed, pitch, rng.uniform(0.7, 1.0))


@dataclass(frozen=True)
class Talk:
    """
    Two or three people who talk in turns, with pauses.

    Attributes
    ----------
    speakers
        Who.
    pause
        Shortest and longest pause between two sentences, s.
    """

    speakers: tuple[Speaker, ...]
    pause: tuple[float, float] = (0.2, 1.6)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Talk":
        """Return a conversation by chance."""
        return cls(tuple(Speaker.drawn(rng) for _ in range(rng.integers(2, 4))))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """
        Return what is said. A sentence that does not fit before the end is cut short.

        Raises
        ------
        SoundError
            If ``espeak-ng`` is missing, or cannot speak.
        """
        air, place = np.zeros(stretch.count, np.float32), 0
        while place < stretch.count:
            speaker = self.speakers[rng.integers(len(self.speakers))]
            said = speaker.loud * spoken(sentence(rng), speaker, stretch.rate)[: stretch.count - place]
            air[place : place + len(said)] = said
            place += len(said) + round(rng.uniform(*self.pause) * stretch.rate)
        return air


def sentence(rng: np.random.Generator) -> str:
    """Return an invented sentence about work on seedling trays."""
    if rng.random() < 0.3:
        return str(rng.choice(ASKED))
    words = (str(rng.choice(choice)) for choice in (WHO, DID, WHAT, WHEN))
    return " ".join(word for word in words if word) + "."


def spoken(text: str, speaker: Speaker, rate: int) -> Floats:
    """Return a sentence as samples at ``rate``."""
    from scipy.signal import resample_poly  # noqa: PLC0415 - takes a second to import; only rendering needs it

    samples, own = _synthesised(text, speaker)
    step = math.gcd(own, rate)
    return np.asarray(resample_poly(samples, rate // step, own // step), dtype=np.float64)


@lru_cache(maxsize=256)
def _synthesised(text: str, speaker: Speaker) -> tuple[Floats, int]:
    import soundfile  # noqa: PLC0415 - needs a library of the system, and only talk needs it

    where = shutil.which(PROGRAM)
    if where is None:
        raise SoundError(
            f"talk needs {PROGRAM}: apt-get install {PROGRAM}, or use the kind 'speech', which is a mere buzz"
        )
    command = [
        where,
        "--stdout",
        "-v",
        speaker.voice,
        "-s",
        f"{speaker.speed}",
        "-p",
        f"{speaker.pitch}",
        text,
    ]
    done = subprocess.run(command, capture_output=True, check=False)  # noqa: S603 - our own words
    if done.returncode or not done.stdout:
        reason = " ".join(done.stderr.decode(errors="replace").split()) or f"exit status {done.returncode}"
        raise SoundError(f"{where} could not speak ({reason}): try it by hand, {where} hello")
    samples, own = soundfile.read(io.BytesIO(done.stdout))
    return np.asarray(samples, dtype=np.float64), int(own)
