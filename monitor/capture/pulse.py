"""
What a PulseAudio server says of our recording: from which source it comes, and with what gain.

PortAudio reaches such a server through ALSA's plug-in, which tells nothing of it: neither that the server
has moved the recording to another microphone, nor that somebody turned its gain. PipeWire answers the same
questions. Structures and calls are those of the library's headers, ``pulse/introspect.h``.
"""

import ctypes as c
import time
from collections.abc import Callable
from typing import Any

from monitor.capture.wire import Place

_CHANNELS = 32
_FULL = 65536.0  # PA_VOLUME_NORM
_NO_AUTOSPAWN = 1
_READY, _FAILED = 4, 5


class _Spec(c.Structure):
    _fields_ = (("format", c.c_int), ("rate", c.c_uint32), ("channels", c.c_uint8))


class _Map(c.Structure):
    _fields_ = (("channels", c.c_uint8), ("map", c.c_int * _CHANNELS))


class _Volume(c.Structure):
    _fields_ = (("channels", c.c_uint8), ("values", c.c_uint32 * _CHANNELS))


class _ServerInfo(c.Structure):
    _fields_ = (
        ("user", c.c_char_p),
        ("host", c.c_char_p),
        ("version", c.c_char_p),
        ("name", c.c_char_p),
        ("spec", _Spec),
        ("sink", c.c_char_p),
        ("source", c.c_char_p),
    )


class _SourceInfo(c.Structure):
    _fields_ = (
        ("name", c.c_char_p),
        ("index", c.c_uint32),
        ("description", c.c_char_p),
        ("spec", _Spec),
        ("map", _Map),
        ("module", c.c_uint32),
        ("volume", _Volume),
        ("mute", c.c_int),
    )


class _OutputInfo(c.Structure):
    _fields_ = (
        ("index", c.c_uint32),
        ("name", c.c_char_p),
        ("module", c.c_uint32),
        ("client", c.c_uint32),
        ("source", c.c_uint32),
        ("spec", _Spec),
        ("map", _Map),
        ("buffer", c.c_uint64),
        ("latency", c.c_uint64),
        ("resample", c.c_char_p),
        ("driver", c.c_char_p),
        ("properties", c.c_void_p),
        ("corked", c.c_int),
        ("volume", _Volume),
    )


_OnServer = c.CFUNCTYPE(None, c.c_void_p, c.POINTER(_ServerInfo), c.c_void_p)
_OnSource = c.CFUNCTYPE(None, c.c_void_p, c.POINTER(_SourceInfo), c.c_int, c.c_void_p)
_OnOutput = c.CFUNCTYPE(None, c.c_void_p, c.POINTER(_OutputInfo), c.c_int, c.c_void_p)


class Server:
    """
    A connection to the sound server.

    Parameters
    ----------
    patience
        How long to wait for an answer, s.

    Raises
    ------
    OSError
        When there is no such server, or not its library; TimeoutError when it does not answer. So do all
        questions.
    """

    def __init__(self, patience: float = 1.5) -> None:
        self._pa = _library()
        self._patience = patience
        self._loop = self._pa.pa_mainloop_new()
        api = self._pa.pa_mainloop_get_api(self._loop)
        self._context = self._pa.pa_context_new(api, b"chipsong")
        self._pa.pa_context_connect(self._context, None, _NO_AUTOSPAWN, None)
        self._turn_until(lambda: self._state() >= _READY)
        self._check()

    def default(self) -> str:
        """Return the name of the default source."""
        found: list[str] = []
        on_server = _OnServer(lambda _context, info, _: found.append(_text(info.contents.source)))
        self._ask(self._pa.pa_context_get_server_info(self._context, on_server, None))
        return found[0] if found else ""

    def has(self, source: str) -> bool:
        """Return whether there is a source of this name."""
        return self._source(self._pa.pa_context_get_source_info_by_name, source.encode()) is not None

    def place(self, process: int) -> Place | None:
        """Return where the recording of a process comes from; ``None`` when it has none here."""
        if (recording := self._recording(process)) is None:
            return None
        index, own_gain = recording
        source = self._source(self._pa.pa_context_get_source_info_by_index, index)
        if source is None:
            return None
        name, label, gain = source
        return Place(name, label, self.default(), round(100 * own_gain * gain))

    def _source(self, ask: Callable[..., Any], which: object) -> tuple[str, str, float] | None:
        found: list[tuple[str, str, float]] = []

        def on_source(_context: object, info: Any, end: int, _: object) -> None:  # noqa: ANN401 - a pointer
            if not end:
                source = info.contents
                found.append((_text(source.name), _text(source.description), _gain(source.volume)))

        called = _OnSource(on_source)
        self._ask(ask(self._context, which, called, None))
        return found[0] if found else None

    def _recording(self, process: int) -> tuple[int, float] | None:
        """Return the number of the source, and the gain, of a process's recording."""
        wanted, found = str(process).encode(), []

        def on_output(_context: object, info: Any, end: int, _: object) -> None:  # noqa: ANN401 - a pointer
            if not end and self._process_of(info.contents) == wanted:
                found.append((int(info.contents.source), _gain(info.contents.volume)))

        called = _OnOutput(on_output)
        self._ask(self._pa.pa_context_get_source_output_info_list(self._context, called, None))
        return found[0] if found else None

    def _process_of(self, output: _OutputInfo) -> bytes | None:
        told: bytes | None = self._pa.pa_proplist_gets(output.properties, b"application.process.id")
        return told

    def _ask(self, operation: int | None) -> None:
        """Wait until what was asked is answered."""
        if not operation:
            raise OSError("the sound server does not answer")
        try:
            self._turn_until(lambda: self._pa.pa_operation_get_state(operation) != 0)
        finally:
            self._pa.pa_operation_cancel(operation)
            self._pa.pa_operation_unref(operation)
        self._check()

    def _turn_until(self, done: Callable[[], bool]) -> None:
        end = time.monotonic() + self._patience
        while not done() and self._state() < _FAILED:
            if (left := end - time.monotonic()) <= 0.0:
                raise TimeoutError("the sound server does not answer")
            self._pa.pa_mainloop_prepare(self._loop, round(1e6 * left))
            self._pa.pa_mainloop_poll(self._loop)
            self._pa.pa_mainloop_dispatch(self._loop)

    def _state(self) -> int:
        return int(self._pa.pa_context_get_state(self._context))

    def _check(self) -> None:
        if self._state() != _READY:
            raise OSError("the sound server is gone")


def _library() -> Any:  # noqa: ANN401 - a library has what it has
    """Return the library with the types of its calls, where they are not int."""
    pa = c.CDLL("libpulse.so.0")
    pointers = "pa_mainloop_new pa_mainloop_get_api pa_context_new pa_context_get_server_info"
    sources = "pa_context_get_source_info_by_name pa_context_get_source_info_by_index"
    for name in f"{pointers} {sources} pa_context_get_source_output_info_list".split():
        getattr(pa, name).restype = c.c_void_p
    pa.pa_proplist_gets.restype = c.c_char_p
    pa.pa_mainloop_get_api.argtypes = [c.c_void_p]
    pa.pa_context_new.argtypes = [c.c_void_p, c.c_char_p]
    pa.pa_context_connect.argtypes = [c.c_void_p, c.c_char_p, c.c_int, c.c_void_p]
    pa.pa_mainloop_prepare.argtypes = [c.c_void_p, c.c_int]
    pa.pa_context_get_server_info.argtypes = [c.c_void_p, _OnServer, c.c_void_p]
    pa.pa_context_get_source_info_by_name.argtypes = [c.c_void_p, c.c_char_p, _OnSource, c.c_void_p]
    pa.pa_context_get_source_info_by_index.argtypes = [c.c_void_p, c.c_uint32, _OnSource, c.c_void_p]
    pa.pa_context_get_source_output_info_list.argtypes = [c.c_void_p, _OnOutput, c.c_void_p]
    pa.pa_proplist_gets.argtypes = [c.c_void_p, c.c_char_p]
    alone = "pa_mainloop_poll pa_mainloop_dispatch pa_context_get_state pa_operation_get_state"
    for name in f"{alone} pa_operation_cancel pa_operation_unref".split():
        getattr(pa, name).argtypes = [c.c_void_p]
    return pa


def _text(told: bytes | None) -> str:
    return (told or b"").decode(errors="replace")


def _gain(volume: _Volume) -> float:
    """Return the gain of the loudest channel, 1 is 100 %."""
    return max([volume.values[n] for n in range(volume.channels)], default=0) / _FULL
