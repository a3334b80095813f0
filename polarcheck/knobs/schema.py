"""The JSON object of ``polarcheck correct``, the mark on the sensor aside, which frames must add."""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field

from polarcheck.knobs.advice import Next, Reason
from polarcheck.knobs.correction import Correction
from polarcheck.knobs.moves import Move
from polarcheck.knobs.response import Response
from polarcheck.schema import Pair, Schema, Table

__all__ = ["CorrectionKeys"]

Knob = Literal["azimuth", "altitude"]


class MoveTable(Table):
    """What one knob should do."""

    knob: Knob
    move_arcmin: float = Field(
        description="Change of the axis that the knob must make, azimuth about the vertical: minus the error [arcmin]."
    )
    sigma_arcmin: float = Field(description="Of that [arcmin].")
    direction: Literal["east", "west", "up", "down"] = Field(description="Where the visible-pole end goes.")
    turns: float | None = Field(
        description="How far to turn, positive, not rounded, take-up of backlash included; null where the knob is "
        "not known [turn]."
    )
    sense: Literal["clockwise", "counterclockwise"] | None = Field(
        description="As seen by someone who faces the knob; null where it is not known."
    )
    take_up_turns: float = Field(description="Part of turns that only takes up backlash [turn].")
    is_idle: bool = Field(description="Whether the knob is better left alone.")
    why_idle: Literal["noise", "hand"] | None = Field(
        description="noise: the move is not clearly larger than its sigma; hand: a turn by hand would leave no less."
    )
    by_hand_turns: float = Field(description="One-sigma miss of a hand that makes these turns [turn].")
    opposed: bool = Field(description="Whether two bolts share the move.")
    ease_first: Literal["east", "west", "pole", "equator"] | None = Field(
        description="The side whose bolt comes out first; null for one screw, or where it is not known."
    )
    beyond_travel_arcmin: float | None = Field(
        description="What the knob lacks from the middle of its travel, 0 if it reaches; null where the travel is "
        "not stated [arcmin]."
    )

    @classmethod
    def of(cls, move: Move) -> Self:
        """Return one knob's move."""
        return cls(
            knob=move.knob,
            move_arcmin=move.move_arcmin,
            sigma_arcmin=move.sigma_arcmin,
            direction=move.direction,
            turns=move.turns,
            sense=move.sense,
            take_up_turns=move.take_up_turns,
            is_idle=bool(move.is_idle),
            why_idle=move.why_idle,
            by_hand_turns=move.by_hand_turns,
            opposed=move.is_opposed,
            ease_first=move.ease_first,
            beyond_travel_arcmin=move.beyond_travel_arcmin,
        )


class BacklashTable(Table):
    """What is known of a knob's play."""

    knob: Knob
    turns: float | None = Field(description="[turn]; null where not known.")
    sigma_turns: float | None = Field(description="[turn]; null where not known.")
    reversals: int = Field(description="Reversals of the knob that were measured.")


class ResponseTable(Table):
    """How the knobs move the axis, as stated and as learned."""

    arcmin_per_turn: list[Pair] = Field(
        description="Azimuth (about the vertical) and altitude, per clockwise turn of the azimuth and the altitude "
        "knob [arcmin/turn]."
    )
    covariance: list[list[float]] = Field(description="Of its entries, row by row [(arcmin/turn)^2].")
    known: list[bool] = Field(description="Whether each knob's gain is known, its sign included.")
    corrections_learned_from: int = Field(description="Steps of the night that taught it.")
    backlash: list[BacklashTable]

    @classmethod
    def of(cls, response: Response) -> Self:
        """Return how the knobs move the axis."""
        names: tuple[Knob, Knob] = ("azimuth", "altitude")
        return cls(
            arcmin_per_turn=response.matrix.tolist(),
            covariance=response.covariance.tolist(),
            known=[bool(known) for known in response.known],
            corrections_learned_from=response.turns_seen,
            backlash=[
                BacklashTable(
                    knob=name,
                    turns=play.backlash_turns if play.is_known else None,
                    sigma_turns=play.backlash_sigma_turns if play.is_known else None,
                    reversals=play.reversals,
                )
                for name, play in zip(names, response.plays, strict=True)
            ],
        )


class TurnTable(Table):
    """Where a frame is to be taken."""

    turn_deg: float = Field(
        description="About the right-ascension axis from where the last used frame was taken, tracking going on, "
        "westward positive like hour angle; 0 is where it stands [deg]."
    )


class NextTable(Table):
    """What to do next."""

    action: Literal["turn", "frames", "stop"] = Field(
        description="turn: make the moves, take these frames and follow; frames: turn no knob, take these frames and "
        "follow; stop."
    )
    reason: Reason = Field(description="Why, for scripts.")
    frames: list[TurnTable]
    expected_sigma_arcmin: float | None = Field(
        description="Root mean square of the doubt in the axis after these frames; null where nobody can tell [arcmin]."
    )
    expected_left_arcmin: float | None = Field(
        description="The total expected after the turn, root mean square; for stop, now; null where nobody can tell "
        "[arcmin]."
    )
    why: str = Field(description="Why, in numbers.")

    @classmethod
    def of(cls, advice: Next) -> Self:
        """Return what to do next."""
        return cls(
            action=advice.action,
            reason=advice.reason,
            frames=[TurnTable(turn_deg=turn) for turn in advice.frames_deg],
            expected_sigma_arcmin=advice.expected_sigma_arcmin,
            expected_left_arcmin=advice.expected_left_arcmin,
            why=advice.why,
        )


class GoalTable(Table):
    """What is near enough."""

    arcmin: float = Field(description="Total error [arcmin].")
    source: Literal["asked", "target", "usual", "hand"] = Field(
        description="Who says so: the user or the rig file, the wanted exposure of a target, nobody, or what a hand "
        "on these knobs can be expected to reach."
    )


class CorrectionKeys(Schema):
    """The knob moves that bring the axis to the pole, in the order in which to make them."""

    schema_: Literal["polarcheck.correct/1"] = Field(default="polarcheck.correct/1", alias="schema")
    moves: list[MoveTable] = Field(description="One per knob, in the order in which to make them.")
    worth_turning: bool = Field(description="Whether a further turn is likely to bring the axis nearer.")
    why: str = Field(description="In numbers.")
    next: NextTable
    goal: GoalTable
    response: ResponseTable
    clamp_shift_allowed_arcmin: Pair | None = Field(
        description="Shift by tightening that the moves allow for, azimuth about the vertical and altitude; null "
        "where none had to be, or none is known [arcmin]."
    )

    @staticmethod
    def about(correction: Correction) -> dict[str, Any]:
        """Return these keys."""
        shift = correction.clamp_shift_arcmin
        return {
            "moves": [MoveTable.of(move) for move in correction.moves],
            "worth_turning": bool(correction.worth_turning),
            "why": correction.why,
            "next": NextTable.of(correction.next),
            "goal": GoalTable.like(correction.goal),
            "response": ResponseTable.of(correction.response),
            "clamp_shift_allowed_arcmin": None if shift is None else list(shift),
        }
