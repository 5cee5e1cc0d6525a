"""What a page may ask for: small JSON objects, checked before anything is done."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from sniff.errors import UsageError
from sniff.taps.nouns import Provocation

MOST_BYTES = 2048
"""Of one message; a page's own are below 300."""

_Words = Annotated[str, Field(min_length=1, max_length=200)]
_Spot = Annotated[str, Field(min_length=1, max_length=60)]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=False, allow_inf_nan=False)


class Tune(_Asked):
    """Set the centre."""

    do: Literal["tune"]
    center_hz: Annotated[float, Field(gt=0, lt=1e11)]


class Show(_Asked):
    """How the spectrum is shown."""

    do: Literal["show"]
    span_hz: Annotated[float, Field(gt=0, lt=1e9)] | None = None
    rbw_hz: Annotated[float, Field(gt=0, lt=1e7)] | None = None
    hold: bool = False


class Gain(_Asked):
    """Set the gain; None for automatic."""

    do: Literal["gain"]
    gain_db: Annotated[float, Field(ge=-20, le=100)] | None


class TapAsked(_Asked):
    """A spot of the set was provoked just now."""

    do: Literal["tap"]
    row: Annotated[int, Field(ge=0, lt=1000)]
    spot: _Spot
    by: Provocation


class Mark(_Asked):
    """Mark this moment."""

    do: Literal["mark"]
    words: _Words


class Note(_Asked):
    """Write something down."""

    do: Literal["note"]
    words: Annotated[str, Field(min_length=1, max_length=1000)]


class Keep(_Asked):
    """Keep the last seconds as a recording."""

    do: Literal["keep"]
    seconds: Annotated[float, Field(gt=0, le=60)]


class Invite(_Asked):
    """Make a new link for one more phone; only from the computer itself."""

    do: Literal["invite"]


Command = Tune | Show | Gain | TapAsked | Mark | Note | Keep | Invite

_ADAPTER: TypeAdapter[Command] = TypeAdapter(Annotated[Command, Field(discriminator="do")])


def parse_command(text: str) -> Command:
    """Read a message.

    Raises
    ------
    UsageError
        When it is too long, or not one of the commands.
    """
    if len(text.encode()) > MOST_BYTES:
        raise UsageError(f"a message of more than {MOST_BYTES} bytes is none of this page's")
    try:
        return _ADAPTER.validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise UsageError(f"{place or 'message'}: {first['msg']}") from None
