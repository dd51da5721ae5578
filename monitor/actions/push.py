"""A push message, through one of the many services that apprise knows."""

import logging
import threading
from dataclasses import dataclass, field
from typing import Any, ClassVar, Self

from monitor.actions.kind import ActionError
from monitor.actions.libraries import needed
from monitor.actions.message import Message

# Where the library says what went wrong.
_LOGGER = "apprise"

_URGENCY = {"alarm": "failure", "doubt": "warning", "deaf": "warning", "heard": "info"}


@dataclass(frozen=True)
class Push:
    """
    Sends a message to a person.

    Attributes
    ----------
    url
        The service and the way to the person, as apprise writes it; it mostly holds a key.
    """

    acts: ClassVar[bool] = False

    url: str = field(repr=False)

    def describe(self) -> str:
        """Return which service, without the key."""
        return f"push: through {self.url.partition(':')[0]}"

    def prepare(self) -> None:
        """Load the library, and look whether it knows the service."""
        self._service()

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Send it; the library has time limits of its own, of some seconds."""
        del limit
        service = self._service()
        urgency = _URGENCY[message.name]
        with _Listening(logging.getLogger(_LOGGER)) as heard:
            sent = service.notify(title=message.title, body=message.text, notify_type=urgency)
        if not sent:
            raise ActionError(heard.last or "not sent, and apprise does not say why")
        return "sent"

    def _service(self) -> Any:  # noqa: ANN401 - the library's types come with it
        # The service itself, not the library's set of services: that has threads which outlive a run.
        with _Listening(logging.getLogger(_LOGGER)):
            service = needed("apprise").Apprise.instantiate(self.url)
        if service is None:
            raise ActionError("apprise does not understand the url: look it up in its list of services")
        return service


class _Listening(logging.Handler):
    """Keeps the last thing that a library complained of on this thread; elsewhere it does not say it."""

    def __init__(self, logger: logging.Logger) -> None:
        super().__init__(logging.WARNING)
        self.last = ""
        self._logger = logger
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self.last = record.getMessage()

    def __enter__(self) -> Self:
        self._logger.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        self._logger.removeHandler(self)
