"""A real audio stack of the test's own: a PulseAudio server, reached through PortAudio and ALSA."""

import ctypes.util
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

SINK = "bench"


class SoundServer:
    """
    A private PulseAudio server with one sink that makes no sound; its monitor is the default microphone.

    Whatever is played into it with ``env`` is heard by whoever records with ``env``. Nothing of the
    machine's own sound is touched, and it runs for root too.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.env = self._environment()
        self._process: subprocess.Popen[bytes] | None = None

    def _environment(self) -> dict[str, str]:
        home, runtime = self.folder / "home", self.folder / "run"
        home.mkdir()
        runtime.mkdir(mode=0o700)
        (home / ".asoundrc").write_text("pcm.!default { type pulse }\nctl.!default { type pulse }\n")
        inherited = {key: value for key, value in os.environ.items() if not key.startswith(("PULSE", "DBUS"))}
        return inherited | {
            "HOME": str(home),
            "XDG_RUNTIME_DIR": str(runtime),
            "XDG_CONFIG_HOME": str(home / ".config"),
            "PULSE_SERVER": f"unix:{self.folder / 'pulse'}",
        }

    def start(self) -> None:
        """Start the server and wait until it answers."""
        command = ["pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"]
        command += ["--disable-shm=yes", "--realtime=no", "--high-priority=no"]
        command += ["-L", f"module-native-protocol-unix socket={self.folder / 'pulse'} auth-anonymous=1"]
        command += ["-L", f"module-null-sink sink_name={SINK} rate=48000"]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, env=self.env, stdout=log, stderr=log)
        deadline = time.monotonic() + 60
        while self.control("info").returncode:
            if time.monotonic() > deadline or self._process.poll() is not None:
                pytest.fail(f"PulseAudio did not start:\n{(self.folder / 'log').read_text()}")
            time.sleep(0.05)

    def stop(self) -> None:
        """Stop the server; whoever records from it hears nothing any more."""
        if self._process is not None:
            self.freeze(frozen=False)
            self._process.terminate()
            self._process.wait(timeout=60)
            self._process = None

    def kill(self) -> None:
        """Kill the server, as a crash would."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(timeout=60)
        self._process = None

    def freeze(self, *, frozen: bool) -> None:
        """Let the server hang, or go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP if frozen else signal.SIGCONT)

    def control(self, *words: str) -> subprocess.CompletedProcess[bytes]:
        """Tell the server something, in the words of ``pactl``."""
        return subprocess.run(["pactl", *words], env=self.env, capture_output=True, check=False, timeout=10)


def missing() -> str:
    """Name what the real audio stack lacks here, nothing when it is complete."""
    absent = [program for program in ("pulseaudio", "pactl", "paplay") if not shutil.which(program)]
    if not ctypes.util.find_library("portaudio"):
        absent.append("libportaudio2")
    if not any(Path("/usr/lib").glob("**/alsa-lib/libasound_module_pcm_pulse.so")):
        absent.append("libasound2-plugins")
    return ", ".join(absent)
