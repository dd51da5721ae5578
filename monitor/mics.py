"""``chipsong mics``: which microphones there are, and whether one is fit."""

import numpy as np
from numpy.typing import NDArray

from analysis.errors import SoundError
from analysis.health import trouble
from analysis.spectrum import decibels
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


def check_microphone(device: str | None, seconds: float) -> tuple[str, bool]:
    """
    Listen for a while; return the levels heard with what to change, and whether it is fit.

    Raises
    ------
    SoundError
        When there is no such microphone, or nothing arrives from it.
    """
    with Microphone(device) as source:
        return verdict(source.name, _hear(source, seconds))


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
    if not heard:
        raise SoundError(f"nothing arrives from {source.name}: is it plugged in and not muted?")
    return np.concatenate(heard)


def verdict(name: str, samples: NDArray[np.float32]) -> tuple[str, bool]:
    """Return the levels of what a microphone heard with what to change, and whether it is fit."""
    size = np.abs(samples.astype(np.float64))
    peak, clipped = float(size.max()), float((size >= 0.999).mean())
    wrong = trouble(peak, float(np.ptp(samples)), clipped)
    if not np.isfinite(peak):
        return f"{name}: NOT FIT: {wrong}", False
    # A full-scale sine is 0 dBFS (AES17): its mean square is a half.
    level, highest = float(decibels(2.0 * np.mean(size**2))), float(decibels(peak * peak))
    levels = f"{name}: level {level:.0f} dBFS, peak {highest:.0f} dBFS, clipped {100 * clipped:.2f} %"
    if wrong:
        return f"{levels}\nNOT FIT: {wrong}", False
    return f"{levels}\nFit to listen. Let the spindle run to check the loud end as well.", True
