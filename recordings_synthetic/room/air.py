"""The shop: its background, what else sounds in it, and what hears it."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream
from recordings_synthetic.filters import Filter, resonance
from recordings_synthetic.room.microphone import Microphone
from recordings_synthetic.room.walls import Room
from recordings_synthetic.shop import ShopSound, add, amplitude

Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Shop:
    """
    The shop.

    Attributes
    ----------
    background
        Hum and rumble when nothing runs, root mean square in dB re an amplitude of full scale.
    sounds
        What else sounds.
    microphone
        What hears it all.
    room
        The room around the microphone, if it has none of its own. One that does not take up all of the air,
        such as a contact microphone, stays without.
    """

    background: float = -60.0
    sounds: tuple[ShopSound, ...] = ()
    microphone: Microphone = field(default_factory=Microphone)
    room: Room | None = None

    def __post_init__(self) -> None:
        """Put the microphone into the room: all that it hears comes through it."""
        if self.room is not None and self.microphone.room is None and not self.microphone.air:
            object.__setattr__(self, "microphone", replace(self.microphone, room=self.room))


def air_of(shop: Shop, count: int, rate: int, seed: int) -> Singles:
    """Return all that the microphone takes up of the shop but the machine, ``count`` samples."""
    noise = stream(seed, "background").standard_normal(count, dtype=np.float32)
    # White noise through a resonance keeps pi/2 x its width (here 300 Hz) of the band, that is rate / 2.
    share = math.sqrt(math.pi * 300.0 / rate)
    rumble = Filter(resonance(150.0, 0.5, rate))(noise) / share
    second = np.arange(rate) * (2.0 * math.pi * 50.0 / rate)
    hum = np.sin(second) + 0.6 * np.sin(2.0 * second)
    air = (amplitude(shop.background) * (0.85 * rumble + np.resize(0.6 * hum, count))).astype(np.float32)
    for sound in shop.sounds:
        add(sound, air, rate)
    if shop.microphone.air:
        air *= np.float32(amplitude(shop.microphone.air))
    return np.asarray(air)
