"""
The warble, and the process that plays it: ``python -m monitor.actions.player SECONDS DEVICE``.

It gets ready and says so, waits for a line on its standard input, plays, and says what it played on.
"""

import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.actions.tone import READY

LOW = (700.0, 1300.0)
"""Between these the lower line swings, Hz; the upper one is its third harmonic, 2.1 to 3.9 kHz."""

SWINGS = 2.0
"""Swings per second."""

_PEAK = 0.95
_FADE = 0.005


def warble(rate: float, seconds: float) -> NDArray[np.float32]:
    """
    Return a tone that is hard to overhear, with ear defenders as without.

    Parameters
    ----------
    rate
        Samples per second, Hz.
    seconds
        How long.

    Returns
    -------
    NDArray[np.float32]
        (n,), its peak just below full scale.

    Notes
    -----
    Two lines that swing together, an octave and a half apart, for no single one reaches everybody. At 2 to
    4 kHz the ear is keenest (ISO 226) and a small loudspeaker loudest. But ear defenders take away the most
    there, and it is what long years of noise take first. A signal for people who wear ear defenders or
    hear badly needs enough below 1.5 kHz (ISO 7731, from a summary of it). A slow swing, there 0.2 to 5 per
    second, is told apart from a spindle and a collector, which hum steadily.
    """
    count = max(1, round(rate * seconds))
    at = np.arange(count) / rate
    swing = 2.0 * np.abs((at * SWINGS) % 1.0 - 0.5)
    phase = 2.0 * np.pi * np.cumsum(LOW[0] + (LOW[1] - LOW[0]) * swing) / rate
    tone = np.sin(phase) + np.sin(3.0 * phase)
    ends = np.minimum(1.0, np.minimum(at, at[::-1]) / _FADE)
    scaled: NDArray[np.float64] = _PEAK * ends * tone / max(float(np.abs(tone).max()), 1e-9)
    return scaled.astype(np.float32)


def main() -> None:
    """Play one warble when told to."""
    seconds, device = float(sys.argv[1]), sys.argv[2]
    try:
        import sounddevice as audio  # noqa: PLC0415 - opens PortAudio, which may be missing

        found = audio.query_devices(device or None, kind="output")
        rate, channels = found["default_samplerate"], min(2, found["max_output_channels"])
        tone = np.repeat(warble(rate, seconds)[:, np.newaxis], channels, axis=1)
        sys.stdout.write(f"{READY} {found['name']}\n")
        sys.stdout.flush()
        if sys.stdin.readline():
            _play(audio, tone, found["index"], rate)
            sys.stdout.write(f"played on {found['name']}\n")
    except Exception as error:  # noqa: BLE001 - PortAudio, ALSA and the system fail in many ways
        sys.stdout.write(f"cannot play: {' '.join(str(error).split())}\n")
        sys.exit(1)


def _play(audio: Any, tone: NDArray[np.float32], device: int, rate: float) -> None:  # noqa: ANN401
    with audio.OutputStream(rate, device=device, channels=tone.shape[1], dtype="float32") as stream:
        stream.write(tone)


if __name__ == "__main__":
    main()
