"""``chipsong mics``: which microphones there are, and whether one is fit."""

import math
import textwrap
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from analysis.errors import SoundError
from analysis.microphone import Advice, Checkup, Hum, OwnGain, advise, check
from monitor.journal import home
from monitor.setup import SHELF, Wanted, bits_for
from monitor.shelf.bits import read_shelf
from monitor.sources import Device, Microphone, Source, microphones

# A sound system that slept takes up to two seconds to wake: blocks that may fail to come, half a second each.
_PATIENCE = 6


def list_text() -> str:
    """Return the microphones, a line each; raise SoundError when there are none."""
    devices = microphones()
    if not devices:
        raise SoundError("no microphone was found: plug one in, then start again")
    advice = "* is the default. Check one with: chipsong mics --check --device NAME"
    return "\n".join([*map(_line, devices), advice])


def _line(device: Device) -> str:
    mark = "*" if device.default else " "
    kind = f"{device.api}, {device.channels} channels, {device.rate} Hz"
    return f"{mark} {device.index:3}  {device.name}  ({kind})"


def check_microphone(
    device: str | None, seconds: float, wanted: Wanted, show: Callable[[str], None]
) -> tuple[str, bool]:
    """
    Listen for a while; return what was found with what to change, and whether it is fit.

    Parameters
    ----------
    device
        Which microphone.
    seconds
        For how long.
    wanted
        What the user said of the bit.
    show
        Gets what to do meanwhile.

    Raises
    ------
    SoundError
        When there is no such microphone, or nothing arrives from it.
    ShelfError
        When the bit that was named is not on the shelf.
    """
    bit = bits_for(wanted, None, read_shelf(home() / SHELF))[0]
    with Microphone(device) as source:
        show(f"Listening to {source.name} for {seconds:.0f} s. {_WITH if bit.speed else _WITHOUT}")
        found = check(_hear(source, seconds), source.rate, bit)
    advice = advise(found)
    return checkup_text(found, advice), advice.verdict != "unfit"


_WITHOUT = "Keep quiet, clap loudly once in the middle, keep quiet again."
_WITH = "Let the spindle run, the bit clear of the work; eyes and ears protected, a hand at the stop."


def _hear(source: Source, seconds: float) -> NDArray[np.float32]:
    heard: list[NDArray[np.float32]] = []
    count = missing = 0
    for block in source.blocks():
        if block is not None and len(block.samples):
            heard.append(block.samples)
            count, missing = count + len(block.samples), 0
        else:
            missing += 1
        if count >= seconds * source.rate or missing >= _PATIENCE:
            break
    if count < 0.1 * source.rate:
        raise SoundError(f"nothing arrives from {source.name}: is it plugged in and not muted?")
    return np.concatenate(heard)


_VERDICTS = {"fit": "FIT TO LISTEN", "caution": "FIT, WITH A CAUTION", "unfit": "NOT FIT"}


def checkup_text(found: Checkup, advice: Advice) -> str:
    """Return what was found, the verdict, and what to change, in one screen."""
    tested = ", as far as it was tested" if advice.untested and advice.verdict != "unfit" else ""
    return "\n".join(
        [
            *(f"  {name:12} {said}" for name, said in _rows(found)),
            "",
            f"{_VERDICTS[advice.verdict]}{tested}",
            *map(_point, advice.change),
            *(["Not tested:"] if advice.untested else []),
            *map(_point, advice.untested),
        ]
    )


def _point(said: str) -> str:
    return textwrap.fill(said, 79, initial_indent="  - ", subsequent_indent="    ")


def _rows(found: Checkup) -> Iterator[tuple[str, str]]:
    yield "heard", f"{found.seconds:.1f} s at {found.rate} Hz"
    if math.isnan(found.level):
        return
    yield "level", f"{found.level:.0f} dBFS in the mean, {found.floor:.0f} dBFS in the quietest tenth"
    yield "peak", f"{found.peak:.0f} dBFS, that is {found.headroom:.0f} dB of headroom"
    yield "clipping", f"{100 * found.clipped:.2f} % of samples at full scale"
    yield "hum", _hum(found.hum)
    yield "own gain", _gain(found.gain)
    if found.spindle:
        yield (
            "spindle",
            f"{found.spindle.speed:.0f} rpm, its line {found.spindle.line:.0f} dB above the noise",
        )
        yield "tooth-pass", f"{found.spindle.teeth:.0f} dB above the noise"
    else:
        yield "spindle", f"none is heard near {found.told:.0f} rpm" if found.told else "not tested"


def _hum(hum: Hum | None) -> str:
    if hum is None:
        return "none stands out"
    return f"{hum.level:.0f} dBFS at {hum.mains} Hz and its multiples ({hum.lines} lines)"


def _gain(gain: OwnGain | None) -> str:
    if gain is None:
        return "not tested: no short loud sound came between steady quiet"
    sounds = "a loud sound" if gain.sounds == 1 else f"{gain.sounds} loud sounds"
    return f"after {sounds} the quiet was {max(gain.fell, 0.0):.1f} dB softer and rose by {gain.rose:.1f} dB"
