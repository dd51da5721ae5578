"""Calls that are not waited for longer than they may take."""

import threading
from collections.abc import Callable

from monitor.actions.kind import ActionError


class Bounded:
    """
    Makes one call after the other, each with a time limit.

    A thread cannot be stopped from outside. One that is not over in time is left to itself, and until it is
    over nothing else is begun: so at most one is ever left, and what hangs is not piled up.
    """

    def __init__(self) -> None:
        self._left: threading.Thread | None = None

    def run(self, call: Callable[[], str], limit: float) -> str:
        """
        Return what ``call`` returns, or raise what it raises.

        Raises
        ------
        ActionError
            When it is not over after ``limit`` seconds, or the one before still is not.
        """
        self._wait_for_the_one_before(limit)
        returned: list[str] = []
        raised: list[BaseException] = []

        def work() -> None:
            try:
                returned.append(call())
            except BaseException as error:  # noqa: BLE001 - raised again below, in the caller's thread
                raised.append(error)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        thread.join(limit)
        if returned:
            return returned[0]
        if raised:
            raise raised[0]
        self._left = thread
        raise ActionError(f"not over after {limit:.1f} s")

    def _wait_for_the_one_before(self, limit: float) -> None:
        if self._left is not None:
            self._left.join(limit)
            if self._left.is_alive():
                raise ActionError("the try before still hangs")
            self._left = None
