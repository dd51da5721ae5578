"""Libraries that only some actions need, and that are installed with an extra."""

import importlib
from typing import Any

from monitor.actions.kind import ActionError

# Of a module: how its distribution is called, and the extra that installs it.
_EXTRAS = {
    "serial": ("pyserial", "serial"),
    "apprise": ("apprise", "push"),
    "paho.mqtt.client": ("paho-mqtt", "mqtt"),
}


def needed(module: str) -> Any:  # noqa: ANN401 - most of them have no types
    """
    Import one of these libraries.

    Raises
    ------
    ActionError
        When it is not installed; the text says how to.
    """
    try:
        return importlib.import_module(module)
    except ImportError as error:
        library, extra = _EXTRAS[module]
        raise ActionError(f"{library} is missing: pip install 'chipsong[{extra}]'") from error
