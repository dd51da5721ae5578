"""Bytes to a serial port."""

import errno
from dataclasses import dataclass
from typing import Any, ClassVar

from monitor.actions.libraries import needed
from monitor.actions.message import Message


@dataclass(frozen=True)
class SerialPort:
    """
    Writes bytes that the user chose to a serial port.

    The port is opened for it and closed again. Its lines DTR and RTS are not raised, as far as the system
    lets that be: some controllers take them for a reset.

    Attributes
    ----------
    port
        Its name, such as ``/dev/ttyUSB0`` or ``COM3``.
    data
        What is written.
    baud
        Bits per second.
    """

    acts: ClassVar[bool] = True

    port: str
    data: bytes
    baud: int

    def describe(self) -> str:
        """Return which bytes go where."""
        return f"serial: bytes {self.data.hex(' ')} to {self.port} at {self.baud} baud"

    def prepare(self) -> None:
        """Load the library."""
        needed("serial")

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Write the bytes."""
        del message
        with self._opened(limit) as port:
            port.write(self.data)
            port.flush()
        return f"{len(self.data)} bytes written to {self.port}; what came of them can't be seen from here"

    def _opened(self, limit: float) -> Any:  # noqa: ANN401 - the library has no types
        port = needed("serial").Serial(baudrate=self.baud, write_timeout=limit, timeout=limit, exclusive=True)
        port.dtr = port.rts = False
        port.port = self.port
        try:
            port.open()
        except OSError as error:
            if error.errno not in _HELD:
                raise
            raise OSError(f"another program holds {self.port}: end that one, then try again") from error
        return port


# What a system says of a port that it gives to one program alone.
_HELD = (errno.EAGAIN, errno.EBUSY)
