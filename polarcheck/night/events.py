"""What can happen in a night, one pydantic model an event: each is one line of the night's file."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from polarcheck.followup import CorrectionSchema, FollowedSchema
from polarcheck.measurement import MeasurementSchema
from polarcheck.schema import Pair, Schema

__all__ = [
    "AdviceEvent",
    "CheckedEvent",
    "Event",
    "FollowedEvent",
    "MeasuredEvent",
    "MovedEvent",
    "NightEvent",
    "RefusedEvent",
    "TurnedEvent",
    "read_event",
]

_EVENT: Literal["polarcheck.event/1"] = "polarcheck.event/1"


class Event(Schema):
    """Something that happened in a night."""

    schema_: Literal["polarcheck.event/1"] = Field(default=_EVENT, alias="schema")
    time_utc: str = Field(description="When it was written, ISO 8601, UTC, by this computer's clock.")
    version: str = Field(description="Of polarcheck.")


class _FromFrames(Event):
    """Something that frames told."""

    inputs: list[str] = Field(description="Frames or folders that were offered, printable.")
    rig: str | None = Field(description="Rig file in use, printable; null without one.")


class MeasuredEvent(_FromFrames):
    """A sweep was measured."""

    event: Literal["measured"] = "measured"
    result: MeasurementSchema = Field(description="The object of `measure`.")


class FollowedEvent(_FromFrames):
    """Frames after a turn were followed."""

    event: Literal["followed"] = "followed"
    result: FollowedSchema = Field(description="The object of `follow`.")


class AdviceEvent(Event):
    """What to do was told."""

    event: Literal["advice"] = "advice"
    rig: str | None = Field(description="Rig file in use, printable; null without one.")
    result: CorrectionSchema = Field(description="The object of `correct`.")


class TurnedEvent(Event):
    """Knobs were turned."""

    event: Literal["turned"] = "turned"
    turned: Pair = Field(
        description="Turns of the azimuth and the altitude knob, net, clockwise positive [turn]."
    )
    as_told: bool = Field(description="Whether they are taken as advised, nobody having said otherwise.")


class RefusedEvent(Event):
    """Frames gave no honest result."""

    event: Literal["refused"] = "refused"
    inputs: list[str] = Field(description="Frames or folders that were offered, printable.")
    reason: str = Field(description="Why, printable.")


class CheckedEvent(Event):
    """Frames of the target were looked at while the mount tracked."""

    event: Literal["checked"] = "checked"
    inputs: list[str] = Field(description="Frames or folders that were offered, printable.")
    frames: int = Field(description="How many.")
    drift_arcsec_per_min: Pair | None = Field(
        default=None, description="Seen drift east and north on the sky; null where not known [arcsec/min]."
    )
    elongation: float | None = Field(default=None, description="Median of the stars; null where not known.")


class MovedEvent(Event):
    """Earlier results do not hold any more: the mount was moved otherwise than by its knobs.

    Only `simulate` writes it, where it puts frames of another practice into a folder: that is known. `watch` and `follow`
    cannot tell a kicked tripod from a turned knob, and write nothing of the kind.
    """

    event: Literal["moved"] = "moved"
    reason: str = Field(description="What tells so, printable.")


NightEvent = Annotated[
    MeasuredEvent | FollowedEvent | AdviceEvent | TurnedEvent | RefusedEvent | CheckedEvent | MovedEvent,
    Field(discriminator="event"),
]
"""Any of them."""

_ANY: TypeAdapter[NightEvent] = TypeAdapter(NightEvent)


def read_event(line: bytes) -> NightEvent:
    """Read one line of a night's file.

    Raises
    ------
    pydantic.ValidationError
        It is no event, or a damaged one.
    """
    return _ANY.validate_json(line)
