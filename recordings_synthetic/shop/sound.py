"""One sound of the shop: what, when, how loud; and adding it to a recording."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream
from recordings_synthetic.shop import simple
from recordings_synthetic.shop.beeper import Beeper
from recordings_synthetic.shop.blows import Bar, Door, Hammer
from recordings_synthetic.shop.compressor import Compressor
from recordings_synthetic.shop.extractor import Extractor
from recordings_synthetic.shop.music import Tune
from recordings_synthetic.shop.planer import Planer
from recordings_synthetic.shop.router import Router
from recordings_synthetic.shop.saw import Saw
from recordings_synthetic.shop.stretch import Singles, Stretch
from recordings_synthetic.shop.talk import Talk
from recordings_synthetic.shop.weather import Rain, Wind

Kind = Literal[
    "collector",
    "knock",
    "sander",
    "speech",
    "extractor",
    "compressor",
    "table saw",
    "mitre saw",
    "planer",
    "router",
    "hammer",
    "door",
    "bar",
    "talk",
    "music",
    "beeper",
    "rain",
    "wind",
]
KINDS: tuple[Kind, ...] = get_args(Kind)

LASTING: Mapping[Kind, float] = {"knock": 1.0, "door": 1.0, "bar": 3.5}
"""Seconds that single events last; they do not heed their end."""
FIRST: tuple[Kind, ...] = ("collector", "knock", "sander", "speech")
"""Those that are kept as they were first; they end as if cut off."""
STRUCK: tuple[Kind, ...] = ("knock", "hammer", "door", "bar")
"""What is measured by its peak."""
BEFORE = 60.0  # s


@dataclass(frozen=True)
class ShopSound:
    """
    Something else that sounds in the shop.

    Attributes
    ----------
    kind
        ============== ====================================================================================
        ``collector``  a fan that runs up and stays
        ``extractor``  a fan with a bag: runs up, flutters, runs down
        ``compressor`` 10 to 15 thumps a second, valves and hum, on and off by the pressure
        ``table saw``  an induction motor, the blade's tone at about 4 kHz, boards cut now and then
        ``mitre saw``  a universal motor, started and braked for each cut
        ``planer``     a cutter head that howls, and boards fed through it
        ``router``     another router, guided by hand, with its own speed and flutes
        ``sander``     another machine, pressed on and lifted
        ``knock``      one blow: a hammer, something that falls
        ``hammer``     nails driven, a few blows each
        ``door``       one slam
        ``bar``        one metal bar dropped: it rings and bounces
        ``speech``     a buzz in the rhythm of talk
        ``talk``       people talking; needs ``espeak-ng``
        ``music``      drums, bass, chords and a tune from a small radio
        ``beeper``     a forklift going backwards
        ``rain``       rain on a roof of sheet metal, becoming heavier
        ``wind``       gusts around the house, and a gap that whistles
        ============== ====================================================================================
    begin, end
        When, s in the recording. Either may lie outside it; what began more than a minute before is taken to
        have begun a minute before. What runs is switched off early enough to be still by its end. ``knock``,
        ``door`` and ``bar`` do not heed their end.
    level
        dB re an amplitude of full scale, as it comes to the microphone: of ``knock``, ``hammer``, ``door``
        and ``bar`` the peak; of ``collector``, ``sander`` and ``speech`` the root mean square; of the others
        the root mean square while they sound (``active``).
    seed
        Where its chance comes from.
    """

    kind: Kind
    begin: float
    end: float = math.inf
    level: float = -24.0
    seed: int = 0


def amplitude(level: float) -> float:
    """Return the amplitude of a level in dB re full scale."""
    return float(10.0 ** (level / 20.0))


def active(sound: NDArray[np.floating], rate: int) -> float:
    """
    Return the root mean square of a sound while it sounds.

    Notes
    -----
    Of pieces of .1 s those that lie within 20 dB of the loudest. The idea is that of the active speech level
    of ITU-T P.56 (from memory), without its hangover.
    """
    piece = max(1, min(rate // 10, len(sound)))
    whole = sound[: len(sound) // piece * piece].reshape(-1, piece)
    power = np.mean(np.square(whole, dtype=np.float64), axis=1)
    return float(np.sqrt(np.mean(power[power >= 0.01 * power.max()])))


def add(sound: ShopSound, air: Singles, rate: int) -> None:
    """Add one sound to a recording's air, in place."""
    first = round(max(sound.begin, -BEFORE) * rate)
    end = sound.begin + LASTING[sound.kind] if sound.kind in LASTING else sound.end
    stops = end * rate <= len(air)
    last = round(end * rate) if stops else len(air)
    if last > max(first, 0):
        made = MAKERS[sound.kind](Stretch(last - first, rate, stops), stream(sound.seed, sound.kind))
        if stops and sound.kind not in FIRST:
            _close(made, rate)
        gain = amplitude(sound.level) / max(_size(sound.kind, made, rate), 1e-12)
        air[max(first, 0) : last] += (gain * made).astype(np.float32)[max(-first, 0) :]


def _close(made: NDArray[Any], rate: int) -> None:
    """Let a sound end within 10 ms, without a click."""
    short = min(len(made), rate // 100)
    made[len(made) - short :] *= np.linspace(1.0, 0.0, short, dtype=made.dtype)


def _size(kind: Kind, made: NDArray[Any], rate: int) -> float:
    if kind in STRUCK:
        return float(np.abs(made).max())
    return float(np.sqrt(np.mean(made**2))) if kind in FIRST else active(made, rate)


MAKERS: Mapping[Kind, Callable[[Stretch, np.random.Generator], NDArray[Any]]] = {
    "collector": simple.collector,
    "knock": simple.knock,
    "sander": simple.sander,
    "speech": simple.speech,
    "extractor": lambda stretch, rng: Extractor.drawn(rng).play(stretch, rng),
    "compressor": lambda stretch, rng: Compressor.drawn(rng).play(stretch, rng),
    "table saw": lambda stretch, rng: Saw.table(rng).play(stretch, rng),
    "mitre saw": lambda stretch, rng: Saw.mitre(rng).play(stretch, rng),
    "planer": lambda stretch, rng: Planer.drawn(rng).play(stretch, rng),
    "router": lambda stretch, rng: Router.drawn(rng).play(stretch, rng),
    "hammer": lambda stretch, rng: Hammer.drawn(rng).play(stretch, rng),
    "door": lambda stretch, rng: Door.drawn(rng).play(stretch, rng),
    "bar": lambda stretch, rng: Bar.drawn(rng).play(stretch, rng),
    "talk": lambda stretch, rng: Talk.drawn(rng).play(stretch, rng),
    "music": lambda stretch, rng: Tune.drawn(rng).play(stretch, rng),
    "beeper": lambda stretch, rng: Beeper.drawn(rng).play(stretch, rng),
    "rain": lambda stretch, rng: Rain.drawn(rng).play(stretch, rng),
    "wind": lambda stretch, rng: Wind.drawn(rng).play(stretch, rng),
}
