"""
Shops, drawn by chance: what else sounds while the cut goes on, and what hears it.

Levels are root mean squares against full scale while a thing sounds; the cut itself lies at about -26 dB.
"""

from collections.abc import Callable

import numpy as np

from recordings_synthetic import Microphone, Shop, ShopSound
from recordings_synthetic.room import Room
from recordings_synthetic.shop import Kind

AS_LOUD, QUIETER = -26.0, -36.0
_LONG = 300.0  # s, longer than most recordings here

Rng = np.random.Generator
Draw = Callable[[Rng], Shop]


def quiet(rng: Rng) -> Shop:
    """Return a shop where nothing else sounds."""
    return _shop(rng)


def machine(kind: Kind, level: float = QUIETER) -> Draw:
    """Return a shop where a machine is switched on at some moment, and off for good at a later one."""

    def draw(rng: Rng) -> Shop:
        begin = rng.uniform(5.0, 90.0)
        return _shop(rng, _sound(kind, rng, level, begin, begin + rng.uniform(60.0, 180.0)))

    return draw


def throughout(kind: Kind, level: float = QUIETER) -> Draw:
    """Return a shop where something sounds from before the recording begins until after its end."""
    return lambda rng: _shop(rng, _sound(kind, rng, level, -30.0, 10.0 * _LONG))


def blows(rng: Rng) -> Shop:
    """Return a shop where nails are driven, doors slam and things are dropped."""
    hammer = _sound("hammer", rng, -10.0, rng.uniform(0.0, 40.0), rng.uniform(80.0, _LONG))
    falls: list[ShopSound] = []
    for at in np.cumsum(rng.exponential(15.0, 20)).tolist():
        kind: Kind = ("door", "bar", "knock")[int(rng.integers(3))]
        falls.append(_sound(kind, rng, rng.uniform(-20.0, -6.0), at))
    return _shop(rng, hammer, *falls)


def chat(level: float) -> Draw:
    """Return a shop where people talk, for half a minute or so each time."""

    def draw(rng: Rng) -> Shop:
        found, now = [], 0.0
        while now < _LONG:
            begin = now + rng.exponential(20.0)
            now = begin + rng.uniform(5.0, 40.0)
            found.append(_sound("talk", rng, level, begin, now))
        return _shop(rng, *found)

    return draw


def busy(rng: Rng) -> Shop:
    """Return a shop where three things sound at once, each 14 dB below the cut."""
    kinds: list[Kind] = ["extractor", "compressor", "table saw", "sander", "talk", "music", "hammer", "rain"]
    chosen = rng.permutation(len(kinds))[:3]
    return _shop(rng, *(_sound(kinds[n], rng, -40.0, rng.uniform(-30.0, 60.0)) for n in chosen))


def heard_by(microphone: Microphone) -> Draw:
    """Return a quiet shop, heard by a microphone of its own."""

    def draw(rng: Rng) -> Shop:
        return Shop(microphone=microphone, room=_room(rng))

    return draw


def _shop(rng: Rng, *sounds: ShopSound) -> Shop:
    """Return a shop: every other one has walls to be heard, the others are as good as outdoors."""
    return Shop(sounds=sounds, room=_room(rng) if rng.random() < 0.5 else None)


def _room(rng: Rng) -> Room:
    size = (rng.uniform(4.0, 10.0), rng.uniform(3.0, 6.0), rng.uniform(2.3, 3.5))
    return Room(size, rng.uniform(0.3, 0.7), rng.uniform(0.5, 1.0), int(rng.integers(1 << 30)))


def _sound(kind: Kind, rng: Rng, level: float, begin: float, end: float = np.inf) -> ShopSound:
    return ShopSound(
        kind, float(begin), float(end), level + rng.uniform(-2.0, 2.0), int(rng.integers(1 << 30))
    )
