"""What machines say, as it is understood; whatever else is on the broker is passed over."""

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, field_validator

ENDED, BROKE_OFF = "ended", "broke off"
"""The states of a run that is over: as it should be, or somebody has to look."""

OVER = (ENDED, BROKE_OFF)

# A message that is longer than this, bytes, is none of ours: a summary has all parts, some 70 bytes each, and
# what no longer comes in is asked for again and again.
MOST_BYTES = 10_000_000


class _Message(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow", allow_inf_nan=False)

    machine: str = Field(max_length=64)
    run: str = Field(max_length=200)


class Where(BaseModel):
    """A line of the program, and between which it may be."""

    model_config = ConfigDict(frozen=True)

    file: int
    word: int | None = None
    first: int = Field(alias="from")
    last: int = Field(alias="to")


class EventMessage(_Message):
    """An event of a run: ``seq`` counts them from 1; the event's own keys are there too."""

    seq: int = Field(ge=1, le=100_000)
    time: str = Field(max_length=40)
    event: str = Field(max_length=40)
    at: float
    late: bool = False

    @field_validator("event")
    @classmethod
    def _is_numbered(cls, event: str) -> str:
        # What a newer version tells may be named otherwise; states are never numbered.
        if event == "state":
            raise ValueError("a state is no event that is numbered")
        return event

    def plain(self) -> dict[str, Any]:
        """Return all of it."""
        return self.model_dump()


class StateMessage(_Message):
    """How a machine is."""

    time: str = Field(max_length=40)
    state: str = Field(max_length=40)
    because: str = Field(max_length=1000)
    since: str = Field(max_length=40)
    title: str = Field(default="", max_length=1000)
    place: Where | None = None
    part: str | None = Field(default=None, max_length=200)
    score: float = 0.0
    events: int = Field(default=0, ge=0, le=100_000)
    before: dict[str, Annotated[int, Field(ge=0, le=100_000)]] = Field(default_factory=dict, max_length=100)
    last: EventMessage | None = None
    beat: float = Field(default=5.0, gt=0, le=3600)


class HereMessage(_Message):
    """Whether a machine is there; that it is not is what the broker says when its link breaks."""

    here: bool


class AskMessage(BaseModel):
    """Somebody asks for events of a run, from one number to another."""

    run: str = Field(max_length=200)
    first: int = Field(alias="from")
    last: int = Field(alias="to")
