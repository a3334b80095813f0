"""The JSON object of ``polarcheck night``."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field

from polarcheck.alignment import ErrorTable
from polarcheck.night.account import NightStep
from polarcheck.night.events import NightEvent
from polarcheck.night.nights import KnobOverNights, MeanOverNights, Nights, NightShift, OneNight
from polarcheck.printable import printable
from polarcheck.schema import Pair, Schema, Table, WarningEntry
from polarcheck.times import iso_from_utc

__all__ = ["NightSchema"]


class StepOfNight(Table):
    """One finding, and what followed on it."""

    epoch_utc: str = Field(description="Mid-exposure of the last used frame, ISO 8601, UTC.")
    fresh: bool = Field(description="Whether it was measured anew, not followed.")
    frames: int = Field(description="In use.")
    error: ErrorTable
    advised: Pair | None = Field(
        description="Turns of the azimuth and the altitude knob that were told, clockwise positive; null without "
        "advice, or where it named none [turn]."
    )
    expected_left_arcmin: float | None = Field(
        description="Total that was expected after the turn; null where nobody could tell [arcmin]."
    )
    turned: Pair | None = Field(description="Turns that were made; null where nobody said [turn].")
    as_told: bool = Field(description="Whether these are only taken as advised.")
    then_moved: bool = Field(description="Whether the mount was moved otherwise than by its knobs then.")

    @classmethod
    def of(cls, step: NightStep) -> Self:
        """Return one step."""
        return cls(
            epoch_utc=iso_from_utc(step.utc),
            fresh=step.is_fresh,
            frames=step.frames,
            error=ErrorTable.like(step.error),
            advised=None if step.advised is None else list(step.advised),
            expected_left_arcmin=step.advice.next.expected_left_arcmin if step.advice else None,
            turned=None if step.turned is None else list(step.turned),
            as_told=step.as_told,
            then_moved=step.then_moved,
        )


class LearnedKnob(Table):
    """What a night taught of a knob."""

    knob: Literal["azimuth", "altitude"]
    arcmin_per_turn: float = Field(description="[arcmin]")
    arcmin_per_turn_sigma: float = Field(description="[arcmin]")
    clockwise_moves: Literal["east", "west", "up", "down"]
    backlash_turns: float | None = Field(description="Null where no reversal showed it [turn].")


class NightTable(Table):
    """One night."""

    folders: list[str] = Field(description="In which its files lie, printable.")
    steps: list[StepOfNight]
    refused: int = Field(description="Frames that gave no honest result: how often.")
    checked: int = Field(description="Looks at frames of the target.")
    learned: list[LearnedKnob] = Field(
        description="Knobs whose gain this night's turns tell to 10 %, the rig file left aside."
    )
    learned_is_assumed: bool = Field(
        description="Whether that rests on turns which were only taken as advised."
    )

    @classmethod
    def of(cls, night: OneNight) -> Self:
        """Return one night."""
        return cls(
            folders=[printable(folder) for folder in night.folders],
            steps=[StepOfNight.of(step) for step in night.account.steps],
            refused=night.account.refused,
            checked=night.account.checked,
            learned=[
                LearnedKnob.model_validate(
                    {
                        "knob": knob.name,
                        "arcmin_per_turn": knob.arcmin_per_turn,
                        "arcmin_per_turn_sigma": knob.arcmin_per_turn_sigma,
                        "clockwise_moves": knob.clockwise_moves,
                        "backlash_turns": knob.backlash_turns,
                    }
                )
                for knob in night.learned
            ],
            learned_is_assumed=night.is_assumed,
        )


class ShiftTable(Table):
    """The axis, from the last finding of one night to the first of the next."""

    azimuth_arcmin: float = Field(
        description="About the vertical, growing clockwise seen from above [arcmin]."
    )
    altitude_arcmin: float = Field(description="[arcmin]")
    azimuth_sigma_arcmin: float = Field(description="Of both findings together [arcmin].")
    altitude_sigma_arcmin: float = Field(description="Of both findings together [arcmin].")

    @classmethod
    def of(cls, shift: NightShift | None) -> Self | None:
        """Return it, if the mount stood at one place."""
        return None if shift is None else cls.like(shift)


class MeanTable(Table):
    """A mean over nights [arcmin]."""

    value: float = Field(description="[arcmin]")
    sigma: float = Field(description="Its standard error, by the scatter [arcmin].")
    scatter: float = Field(description="From night to night [arcmin].")
    count: int = Field(description="Nights, or steps between them.")
    is_steady: bool = Field(description="Whether it differs from zero with 95 % confidence.")

    @classmethod
    def both(cls, means: tuple[MeanOverNights | None, MeanOverNights | None]) -> MeansTable | None:
        """Return azimuth and altitude, if there are nights enough."""
        azimuth, altitude = means
        if azimuth is None or altitude is None:
            return None
        return MeansTable(azimuth=cls.like(azimuth), altitude=cls.like(altitude))


class MeansTable(Table):
    """Of azimuth, about the vertical, and altitude."""

    azimuth: MeanTable
    altitude: MeanTable


class KnobTable(Table):
    """What all nights together tell of one knob."""

    knob: Literal["azimuth", "altitude"]
    arcmin_per_turn: float = Field(description="Weighted mean [arcmin].")
    sigma: float = Field(description="Of that, by the nights' own sigmas [arcmin].")
    clockwise_moves: Literal["east", "west", "up", "down"]
    nights: int = Field(description="That tell it.")
    agree: bool = Field(description="Whether they agree within their sigmas.")

    @classmethod
    def of(cls, knob: KnobOverNights) -> Self:
        """Return one knob."""
        return cls.model_validate(
            {
                "knob": knob.name,
                "arcmin_per_turn": knob.arcmin_per_turn,
                "sigma": knob.sigma,
                "clockwise_moves": knob.clockwise_moves,
                "nights": knob.nights,
                "agree": knob.agree,
            }
        )


class NightSchema(Schema):
    """Nights of one mount."""

    schema_: Literal["polarcheck.night/1"] = Field(default="polarcheck.night/1", alias="schema")
    events: list[NightEvent] = Field(description="All of them, in order.")
    error: ErrorTable = Field(description="Of the last finding.")
    stands: bool = Field(description="Whether the mount still stands so; not after it was moved.")
    nights: list[NightTable]
    shifts: list[ShiftTable | None] = Field(
        description="From each night to the next; null where the mount stood at another place."
    )
    mean_shift: MeansTable | None = Field(description="Of these; null under three.")
    mean_start: MeansTable | None = Field(
        description="Error as first found in each night; null under three nights."
    )
    knobs: list[KnobTable] = Field(description="Worth keeping for the next night.")
    warnings: list[WarningEntry]

    @classmethod
    def of(cls, nights: Nights) -> Self:
        """Return the object of nights."""
        last = nights.nights[-1]
        return cls(
            events=list(nights.events),
            error=ErrorTable.like(last.last.error),
            stands=last.account.alignment is not None,
            nights=[NightTable.of(night) for night in nights.nights],
            shifts=[ShiftTable.of(shift) for shift in nights.shifts],
            mean_shift=MeanTable.both(nights.mean_shift),
            mean_start=MeanTable.both(nights.mean_start),
            knobs=[KnobTable.of(knob) for knob in nights.knobs],
            warnings=[WarningEntry.like(notice) for notice in nights.notices],
        )
