"""The boundary of the file of actions: what may stand in it, and what is said when something else does."""

import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)

from monitor.actions.bell import Bell
from monitor.actions.command import Command
from monitor.actions.kind import Action, Kind
from monitor.actions.message import Name
from monitor.actions.mqtt import Mqtt
from monitor.actions.push import Push
from monitor.actions.request import Request
from monitor.actions.serial_port import SerialPort
from monitor.actions.tone import Tone
from monitor.tables import tables_named

_Text = Annotated[str, StringConstraints(min_length=1)]
_SomeText = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1), Field(description="some text")
]
_AnyText = Annotated[str | None, Field(description="a text")]


def _web_address(url: str) -> str:
    parts = urlsplit(url)
    _ = parts.port  # raises ValueError when it is none
    web = parts.scheme in {"http", "https"} and parts.hostname and parts.username is None
    if not web or re.search(r"[^!-~]", url):
        raise ValueError
    return url


def _header(headers: dict[str, str]) -> dict[str, str]:
    if not all(re.fullmatch(r"[!-9;-~]+", key) and re.fullmatch(r"[ -~]*", headers[key]) for key in headers):
        raise ValueError
    return headers


def _bytes(digits: object) -> bytes:
    if not isinstance(digits, str):
        raise ValueError  # noqa: TRY004 - pydantic wants it so
    return bytes.fromhex(digits)


# At what fires when nothing is said: what may act on the machine waits for what is certain.
_TELLS: frozenset[Name] = frozenset({"alarm", "doubt", "deaf"})
_ACTS: frozenset[Name] = frozenset({"alarm", "deaf"})


class _Action(BaseModel):
    """What every ``[[action]]`` table may say, besides its kind."""

    model_config = ConfigDict(extra="forbid", strict=True, regex_engine="python-re")

    name: _SomeText
    on: Annotated[
        list[Name], Field(min_length=1, description='a list of "alarm", "doubt", "deaf" and "heard"')
    ] = Field(default_factory=list)
    limit: Annotated[
        float, Field(ge=0.1, le=300, allow_inf_nan=False, description="seconds, from 0.1 to 300")
    ] = 10.0
    tries: Annotated[int, Field(ge=1, le=10, description="a whole number from 1 to 10")] = 3

    def does(self) -> Kind:
        """Return what is done."""
        raise NotImplementedError

    def action(self) -> Action:
        does = self.does()
        on = frozenset(self.on) or (_ACTS if does.acts else _TELLS)
        return Action(self.name, does, on, self.limit, self.tries)


class _Bell(_Action):
    rings: Annotated[int, Field(ge=1, le=20, description="a whole number from 1 to 20")] = 3

    def does(self) -> Kind:
        return Bell(self.rings)


class _Tone(_Action):
    seconds: Annotated[
        float, Field(ge=0.1, le=60, allow_inf_nan=False, description="seconds, from 0.1 to 60")
    ] = 3.0
    device: Annotated[str, Field(description="the name of a loudspeaker, or a part of it")] = ""

    @model_validator(mode="after")
    def _ends_in_time(self) -> Self:
        if self.limit < self.seconds + 2:
            raise ValueError(f"limit = {self.limit:g}: it must be 2 more than seconds = {self.seconds:g}")
        return self

    def does(self) -> Kind:
        return Tone(self.seconds, self.device)


class _Command(_Action):
    # A command that failed halfway, or bytes of which some have gone out, are not done twice unasked.
    tries: Annotated[int, Field(ge=1, le=10, description="a whole number from 1 to 10")] = 1
    run: Annotated[
        list[_Text], Field(min_length=1, description='a program and its arguments: ["program", "one", "two"]')
    ]

    def does(self) -> Kind:
        return Command(tuple(self.run))


class _Serial(_Action):
    tries: Annotated[int, Field(ge=1, le=10, description="a whole number from 1 to 10")] = 1
    port: Annotated[_Text, Field(description="the name of a serial port, such as /dev/ttyUSB0 or COM3")]
    baud: Annotated[int, Field(ge=50, le=4_000_000, description="bits per second, from 50 to 4000000")]
    text: Annotated[str, Field(min_length=1, pattern=r"^[\x00-\x7f]+\Z", description="plain ASCII text")] = ""
    hex: Annotated[
        bytes, BeforeValidator(_bytes), Field(description='bytes as pairs of digits, such as "0d 1f"')
    ] = b""

    @model_validator(mode="after")
    def _says_which_bytes(self) -> Self:
        if bool(self.text) == bool(self.hex):
            raise ValueError("write either text or hex: the bytes that your controller's manual asks for")
        return self

    def does(self) -> Kind:
        return SerialPort(self.port, self.hex or self.text.encode("ascii"), self.baud)


class _Http(_Action):
    url: Annotated[
        str,
        AfterValidator(_web_address),
        Field(description="an address that begins with http:// or https://, without user and password"),
    ]
    method: Annotated[Literal["POST", "PUT", "GET"], Field(description="one of POST, PUT, GET")] = "POST"
    headers: Annotated[
        dict[str, str],
        AfterValidator(_header),
        Field(description='a table of plain text: { "Key" = "value" }'),
    ] = Field(default_factory=dict)
    body: _AnyText = None

    def does(self) -> Kind:
        return Request(self.url, self.method, self.headers, self.body)


class _Push(_Action):
    url: Annotated[
        str, Field(pattern=r"^[A-Za-z0-9.+-]+://\S+\Z", description="an address as apprise writes it")
    ]

    def does(self) -> Kind:
        return Push(self.url)


class _Mqtt(_Action):
    host: Annotated[str, Field(pattern=r"^\S+\Z", description="the name or the address of the broker")]
    port: Annotated[int | None, Field(ge=1, le=65_535, description="a whole number from 1 to 65535")] = None
    topic: Annotated[str, Field(pattern=r"^[^+#\x00]+\Z", description="a topic without + and #")]
    payload: _AnyText = None
    user: _AnyText = None
    password: _AnyText = None
    tls: Annotated[bool, Field(description="true or false")] = False
    retain: Annotated[bool, Field(description="true or false")] = False

    @model_validator(mode="after")
    def _says_whose(self) -> Self:
        if self.password is not None and self.user is None:
            raise ValueError("user is missing: it must be a text where there is a password")
        return self

    def does(self) -> Kind:
        usual = 8883 if self.tls else 1883
        return Mqtt(
            host=self.host,
            topic=self.topic,
            port=self.port or usual,
            payload=self.payload,
            user=self.user,
            password=self.password,
            tls=self.tls,
            retain=self.retain,
        )


KINDS: Mapping[str, type[_Action]] = {
    "bell": _Bell,
    "tone": _Tone,
    "command": _Command,
    "serial": _Serial,
    "http": _Http,
    "push": _Push,
    "mqtt": _Mqtt,
}
"""What may be done, by the word for it in the file."""

# What is never shown, not even when it is wrong.
_SECRET = {"password", "headers"}


def actions_of(tables: Mapping[str, Any]) -> tuple[Action, ...]:
    """
    Return the actions of a file, as `tomllib` reads it.

    Raises
    ------
    ValueError
        When something is wrong: which action, which key, which value, what is allowed. One line.
    """
    actions = tables_named(tables, "action")
    return tuple(_action(number, action) for number, action in enumerate(actions, start=1))


def _action(number: int, table: Mapping[str, Any]) -> Action:
    values = dict(table)
    where = f"action {number} ('{values.get('name', '')}')"
    kind = values.pop("kind", None)
    allowed = f"one of {', '.join(KINDS)}"
    if kind is None:
        raise ValueError(f"{where}, kind is missing: it must be {allowed}")
    if not isinstance(kind, str) or kind not in KINDS:
        raise ValueError(f"{where}, kind = {kind!r}: it must be {allowed}")
    try:
        return KINDS[kind].model_validate(values).action()
    except ValidationError as error:
        raise ValueError(f"{where}, {_said(error, KINDS[kind])}") from error


def _said(error: ValidationError, model: type[_Action]) -> str:
    """Say what is wrong first, in our words."""
    first = error.errors()[0]
    if not first["loc"]:
        return str(first["ctx"]["error"])
    key = str(first["loc"][0])
    if key not in model.model_fields:
        return f"{key}: there is no such key, only name, kind, {_others(model)}"
    allowed = _allowed(model, key)
    if first["type"] == "missing":
        return f"{key} is missing: it must be {allowed}"
    return (
        f"{key}: it must be {allowed}"
        if key in _SECRET
        else f"{key} = {first['input']!r}: it must be {allowed}"
    )


def _others(model: type[_Action]) -> str:
    return ", ".join(key for key in model.model_fields if key != "name")


def _allowed(model: type[_Action], key: str) -> str:
    return str(model.model_fields[key].description)
