"""``chipsong mics``: which microphones there are, and whether one is fit."""

import numpy as np

from analysis.errors import SoundError
from analysis.health import trouble
from analysis.spectrum import decibels
from monitor.sources import Microphone, microphones


def list_text() -> str:
    """Return the microphones, a line each; raise SoundError when there are none."""
    lines = [
        f"{'*' if device.default else ' '} {device.index:3}  {device.name}  ({device.api},"
        f" {device.channels} channels, {device.rate} Hz)"
        for device in microphones()
    ]
    return "\n".join([*lines, "* is the default. Check one with: chipsong mics --check --device NAME"])


def check_text(device: str | None, seconds: float) -> str:
    """Listen for a while; return the levels heard and what to change."""
    heard: list[np.ndarray[tuple[int], np.dtype[np.float32]]] = []
    with Microphone(device, None) as source:
        for block in source.blocks():
            if block is None:
                raise SoundError(f"nothing arrives from {source.name}: is it plugged in and not muted?")
            heard.append(block.samples)
            if sum(map(len, heard)) >= seconds * source.rate:
                break
        return _verdict(source.name, np.concatenate(heard))


def _verdict(name: str, samples: np.ndarray[tuple[int], np.dtype[np.float32]]) -> str:
    finite = bool(np.isfinite(samples).all())
    peak = float(np.abs(samples).max()) if finite else float("nan")
    clipped = float((np.abs(samples) >= 0.999).mean())
    wrong = trouble(peak, float(np.ptp(samples)), clipped)
    # A full-scale sine is 0 dBFS (AES17): its mean square is a half.
    level = float(decibels(2.0 * float(np.mean(samples.astype(np.float64) ** 2)))) if finite else float("nan")
    lines = [
        f"{name}: level {level:.0f} dBFS, peak {float(decibels(peak * peak)):.0f} dBFS,"
        f" clipped {100 * clipped:.2f} %",
        f"NOT FIT: {wrong}" if wrong else "Fit to listen. Let the spindle run to check the loud end as well.",
    ]
    return "\n".join(lines)
