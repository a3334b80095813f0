"""What the evening shows: one object, drawn by the screen and by the page alike. All texts in it are printable."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from polarcheck.schema import Pair, Schema, Table, WarningEntry

__all__ = [
    "AxisTableNow",
    "EveningSchema",
    "FrameCounts",
    "KnobTurn",
    "LastFrame",
    "NowTable",
    "TargetFrames",
    "TrendPoint",
    "TurnsTaken",
]


class KnobTurn(Table):
    """What one knob is to do now."""

    knob: Literal["azimuth", "altitude"]
    direction: Literal["east", "west", "up", "down"] = Field(description="Where the visible-pole end goes.")
    sense: Literal["clockwise", "counterclockwise"] | None = Field(
        description="As seen by someone who faces the knob; null where it is not known."
    )
    turns: float | None = Field(description="Positive, not rounded; null where the knob is not known [turn].")
    amount: str = Field(
        description="The same as a hand can make it, such as 1/4 or 2.3; the arcminutes where turns are not known."
    )
    unit: Literal["turn", "arcmin"] = Field(description="Of amount.")
    move_arcmin: float = Field(description="Change of the axis, azimuth about the vertical [arcmin].")
    note: str = Field(
        default="", description="How to make the turn, such as which bolt to ease first; else empty."
    )


class NowTable(Table):
    """What to do now."""

    action: Literal["wait", "frames", "turn", "stop"] = Field(
        description="wait: for frames under way; frames: take some, turn no knob; turn: make the turns, then take "
        "frames; stop: near enough."
    )
    sentence: str = Field(description="The whole of it in one sentence.")
    knobs: list[KnobTurn] = Field(
        description="For turn: in the order in which to make them; idle knobs left out."
    )
    frames_deg: list[float] = Field(
        description="Where to take frames then: turn about the right-ascension axis from the frame that frames_from "
        "names, westward positive; 0 is where that was taken, tracking going on [deg]."
    )
    frames_from: str | None = Field(
        default=None,
        description="The frame from which frames_deg count where it is not the last one that came; else null: from "
        "where the mount stands.",
    )
    places: str = Field(default="", description="The same in words; empty where frames_deg is.")
    why: str = Field(description="Why, in numbers; empty where there is nothing to say.")
    caution: str = Field(default="", description="What can hurt, where knobs are to be turned; else empty.")


class AxisTableNow(Table):
    """Axis minus pole by the last finding."""

    azimuth_arcmin: float = Field(description="About the vertical, clockwise from above positive [arcmin].")
    altitude_arcmin: float = Field(description="[arcmin]")
    total_arcmin: float = Field(description="[arcmin]")
    azimuth_sigma_arcmin: float = Field(description="[arcmin]")
    altitude_sigma_arcmin: float = Field(description="[arcmin]")
    total_sigma_arcmin: float = Field(default=0.0, description="Along the line from pole to axis [arcmin].")
    azimuth_allowance_arcmin: float = Field(
        description="What the allowed sag and creep do, beside the sigma [arcmin]."
    )
    altitude_allowance_arcmin: float = Field(
        description="What the allowed sag and creep do, beside the sigma [arcmin]."
    )
    azimuth_side: Literal["east", "west"] = Field(description="Of the pole, where the axis is.")
    altitude_side: Literal["high", "low"]
    time_utc: str = Field(description="Mid-exposure of the last frame in it.")


class TrendPoint(Table):
    """One finding of the night."""

    time_utc: str
    azimuth_arcmin: float = Field(description="About the vertical [arcmin].")
    altitude_arcmin: float = Field(description="[arcmin]")
    total_arcmin: float = Field(description="[arcmin]")
    sigma_arcmin: float = Field(description="Of the total [arcmin].")
    fresh: bool = Field(description="Whether it was measured anew, not followed.")


class LastFrame(Table):
    """The frame that was looked at last."""

    file: str
    time_utc: str | None = Field(description="Mid-exposure; null where not known.")
    counted: bool
    part: Literal["sweep", "follow-up", "target", "none"] = Field(description="What it was taken for.")
    reason: str = Field(description="Why it counted, or why not.")


class FrameCounts(Table):
    """Files of the folder."""

    counted: int = Field(description="In use for the axis.")
    of_target: int = Field(description="Frames of a target, only counted.")
    refused: int = Field(description="Solved, of no use.")
    unsolved: int = Field(description="Whole, without a solution so far.")
    growing: int = Field(description="Being written.")


class TargetFrames(Table):
    """What frames of the target show while the mount tracks."""

    frames: int = Field(description="How many.")
    seen_arcsec_per_min: Pair | None = Field(
        description="Drift east and north; null where not known [arcsec/min]."
    )
    predicted_arcsec_per_min: Pair | None = Field(
        description="Drift east and north; null where not known [arcsec/min]."
    )
    elongation: float | None = Field(
        description="Major over minor axis of the stars in the middle, median over its last frames that were measured; "
        "null where not known."
    )


class TurnsTaken(Table):
    """Turns that count as made since the last finding."""

    azimuth: float = Field(description="Net, clockwise positive [turn].")
    altitude: float = Field(description="Net, clockwise positive [turn].")
    as_told: bool = Field(description="Whether they are taken as advised, nobody having said otherwise.")


class EveningSchema(Schema):
    """The state of the night."""

    schema_: Literal["polarcheck.evening/1"] = Field(default="polarcheck.evening/1", alias="schema")
    number: int = Field(description="Grows with every change.")
    time_utc: str = Field(description="Of the last change, by this computer's clock.")
    folder: str
    now: NowTable
    axis: AxisTableNow | None = Field(
        description="Null before the first finding, and after the mount was moved."
    )
    left_arcmin: float | None = Field(
        description="Total expected after the turn; null where nobody can tell [arcmin]."
    )
    goal_arcmin: float | None = Field(
        description="What is near enough; null before the first finding [arcmin]."
    )
    trend: list[TrendPoint] = Field(description="Findings of this night, in order.")
    last_frame: LastFrame | None
    counts: FrameCounts
    target: TargetFrames | None
    taken: TurnsTaken | None = Field(description="Null where no turn was asked for.")
    sound: Literal["nearer", "refused", "done"] | None = Field(
        description="What this change sounds like, where the user asked for sound."
    )
    warnings: list[WarningEntry]
