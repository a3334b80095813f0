"""What to do next: turn, take frames first, or stop; and why, in numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from polarcheck.alignment import AxisError
from polarcheck.knobs.outcome import Outcome, Standing, outcome_of
from polarcheck.knobs.positions import Positions
from polarcheck.knobs.response import Response
from polarcheck.knobs.spec import KnobSpec

__all__ = ["Choice", "Goal", "Next", "Reason", "advise", "choose_knobs"]

Reason = Literal["near enough", "turn", "tripod", "unknown knobs", "frames first", "hand", "noise"]
"""Why something is to be done: for scripts and for the words."""

CLEAR = 2.0
"""Sigmas that a move must have for a turn: one of one sigma would follow noise every third time."""

_SURE = 0.95  # chance of being within the goal that is enough
_MORE_CHANCE = 0.05  # of that, by which a turn must be expected to better it
_DEARER = 0.1  # more of it for each turn after the second
_CHEAP_TURNS, _MOST_TURNS = 2, 6  # turns that cost no more than that; turns after which none is asked for
_RUINOUS = 2.0  # times what is left now: a turn that is expected to leave so much is no try for the goal
_FAR = 0.5  # chance of being within the goal below which a turn need only lead nearer
_LESS, _MUCH_LESS = 0.9, 0.25  # of what is left: after this turn, and after the ones that it teaches
_DOMINATES = 1.5  # times what a turn would leave of a known axis: a larger doubt is taken away first
_TELLS_MORE = 0.7  # of the present sigma: frames that are expected to leave more are not asked for
_GOAL_SHARE = 0.12  # of the goal: sigma that frames should have
_LEFT_SHARE = 0.15  # of what a turn is expected to leave: the same, where that is more

_CHOICES = ((False, False), (True, False), (False, True), (True, True))


@dataclass(frozen=True, slots=True)
class Goal:
    """The total error that is near enough.

    Attributes
    ----------
    arcmin : float
        [arcmin]
    source : {"asked", "target", "usual", "hand"}
        Who says so: the user or the rig file, the wanted exposure of a target, nobody, or what a hand can do.
    is_vain : bool
        Whether a wanted exposure cannot be had with any axis, so that the goal is not the target's.
    """

    arcmin: float
    source: Literal["asked", "target", "usual", "hand"]
    is_vain: bool = False


@dataclass(frozen=True, slots=True)
class Next:
    """What to do next.

    Attributes
    ----------
    action : {"turn", "frames", "stop"}
    reason : str
        Which of the reasons of `Reason`.
    frames_deg : tuple of float
        Frames to take: turns about the right-ascension axis from where the last used frame was taken, westward,
        tracking going on; 0 is where it stands. [deg]
    expected_sigma_arcmin : float or None
        Of the total, after these frames; None where nobody can tell. [arcmin]
    expected_left_arcmin : float or None
        Total after the turn, or now for "stop"; None where nobody can tell. [arcmin]
    why : str
        In numbers.
    """

    action: Literal["turn", "frames", "stop"]
    reason: Reason
    frames_deg: tuple[float, ...]
    expected_sigma_arcmin: float | None
    expected_left_arcmin: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Choice:
    """Which knobs a turn would be of, and what comes of it.

    Attributes
    ----------
    stay : Outcome
        Without any turn.
    best : Outcome
        The best of the turns that may be made; `stay` where there is none.
    turning : Outcome
        The best with a turn of a known knob, allowed or not; `stay` where none is known.
    blind : Outcome
        The best turn if the axis were known exactly; what frames could make possible.
    is_clear : tuple of bool
        Whether the azimuth and the altitude move are clearly larger than their sigma.
    needed : float
        Chance of the goal that a turn must bring.
    """

    stay: Outcome
    best: Outcome
    turning: Outcome
    blind: Outcome
    is_clear: tuple[bool, bool]
    needed: float


def choose_knobs(
    standing: Standing,
    error: AxisError,
    response: Response,
    knobs: tuple[KnobSpec, KnobSpec],
    goal: Goal,
    made: int = 0,
) -> Choice:
    """Choose the knobs that are worth turning.

    Parameters
    ----------
    standing : Standing
        Where the axis stands.
    error : AxisError
        The same, with the sigma of each move.
    response : Response
        How the knobs act; an unknown knob is not chosen.
    knobs : tuple of KnobSpec
        Azimuth, altitude.
    goal : Goal
        What is near enough.
    made : int
        Turns made tonight.

    Returns
    -------
    Choice
    """
    clear = (
        abs(error.azimuth_arcmin) > CLEAR * error.azimuth_sigma_arcmin,
        abs(error.altitude_arcmin) > CLEAR * error.altitude_sigma_arcmin,
    )
    needed = _MORE_CHANCE + _DEARER * max(made - _CHEAP_TURNS, 0) if made < _MOST_TURNS else 1.0
    every = [
        outcome_of(standing, response, knobs, turned)
        for turned in _CHOICES
        if all(who or not turn for who, turn in zip(response.known, turned, strict=True))
    ]
    allowed = [o for o in every if all(c or not t for c, t in zip(clear, o.turned, strict=True))]
    return Choice(
        stay=every[0],
        best=_best(allowed, goal, needed),
        turning=min(every[1:] or every, key=lambda outcome: outcome.left_arcmin),
        blind=min(every, key=lambda outcome: outcome.left_if_known_arcmin),
        is_clear=clear,
        needed=needed,
    )


def _best(allowed: list[Outcome], goal: Goal, needed: float) -> Outcome:
    """The likeliest to be within the goal where a turn betters that; else, far from it, the one that leaves least."""
    bold = [outcome for outcome in allowed if outcome.left_arcmin < _RUINOUS * allowed[0].left_arcmin]
    likeliest = max(bold or allowed[:1], key=lambda outcome: outcome.chance(goal.arcmin))
    if likeliest.chance(goal.arcmin) - allowed[0].chance(goal.arcmin) > needed:
        return likeliest
    return min(allowed, key=lambda outcome: outcome.left_arcmin)


def advise(
    choice: Choice,
    standing: Standing,
    goal: Goal,
    positions: Callable[[float], Positions | None],
    *,
    unknown: tuple[bool, bool] = (False, False),
    beyond: tuple[str, ...] = (),
) -> Next:
    """Decide between a turn, frames and nothing.

    Parameters
    ----------
    choice : Choice
        From `choose_knobs`.
    standing : Standing
        Where the axis stands.
    goal : Goal
        What is near enough.
    positions : callable
        Gives the frames for a wanted sigma [arcmin].
    unknown : tuple of bool
        Which knobs nobody knows how they act.
    beyond : tuple of str
        Names of the knobs that may not reach.

    Returns
    -------
    Next
    """
    now = choice.stay
    chance = now.chance(goal.arcmin)
    said = _standing_words(standing, goal)
    after = max(_GOAL_SHARE * goal.arcmin, _LEFT_SHARE * choice.best.left_if_known_arcmin)
    if chance >= _SURE:
        return _stop(
            "near enough", standing, f"{said}, so it is within that with {_percent(chance)} confidence"
        )
    if beyond:
        name = " and the ".join(beyond)
        return _turn(
            "tripod",
            None,
            positions(after),
            f"{said}; the {name} knob may not reach: the tripod must be moved",
        )
    if any(who and clear for who, clear in zip(unknown, choice.is_clear, strict=True)):
        return _turn(
            "unknown knobs",
            None,
            positions(after),
            f"{said}; how far a turn of the knobs moves the axis is not known",
        )
    more = positions(_GOAL_SHARE * goal.arcmin)
    tells = more is not None and more.sigma_arcmin <= _TELLS_MORE * standing.sigma_arcmin
    hides = standing.sigma_arcmin > _DOMINATES * choice.blind.left_if_known_arcmin
    if _is_better(choice, goal) and not (tells and hides):
        left = choice.best.left_arcmin
        return _turn("turn", left, positions(after), f"{said}; a turn is expected to leave about {left:.2f}")
    if more is not None and tells and standing.sigma_arcmin > _GOAL_SHARE * goal.arcmin:
        then = float((choice.blind.left_if_known_arcmin**2 + more.sigma_arcmin**2) ** 0.5)
        why = (
            f"{said}; that sigma could not tell a good turn from a bad one, and with these frames it should be "
            f"{_small(more.sigma_arcmin)}"
        )
        return Next("frames", "frames first", more.turns_deg, more.sigma_arcmin, then, why)
    if any(choice.is_clear):
        likely = f", and it is within that with {_percent(chance)} confidence" if chance > _FAR else ""
        return _stop("hand", standing, f"{said}{likely}; {_no_gain_words(choice)}")
    return _stop(
        "noise", standing, f"{said}: a turn would follow noise, and further frames would hardly tell more"
    )


def _is_better(choice: Choice, goal: Goal) -> bool:
    """Whether a turn betters the chance of the goal, or, far from it, leaves less or teaches how to leave less."""
    best, now = choice.best, choice.stay
    if not any(best.turned):
        return False
    chance = now.chance(goal.arcmin)
    if best.chance(goal.arcmin) - chance > choice.needed and best.left_arcmin < _RUINOUS * now.left_arcmin:
        return True
    nearer = best.left_arcmin < _LESS * now.left_arcmin
    teaches = best.left_if_taught_arcmin < _MUCH_LESS * now.left_arcmin
    return choice.needed < 1 and chance < _FAR and (nearer or teaches)


def _turn(reason: Reason, left: float | None, frames: Positions | None, why: str) -> Next:
    turns = frames.turns_deg if frames else ()
    return Next("turn", reason, turns, frames.sigma_arcmin if frames else None, left, why)


def _stop(reason: Reason, standing: Standing, why: str) -> Next:
    left = float((standing.offset @ standing.offset + standing.sigma_arcmin**2) ** 0.5)
    return Next("stop", reason, (), standing.sigma_arcmin, left, why)


def _standing_words(standing: Standing, goal: Goal) -> str:
    left = float((standing.offset @ standing.offset) ** 0.5)
    words = {
        "asked": f"the goal is {goal.arcmin:.2f}",
        "target": f"the target's exposure allows {goal.arcmin:.2f}",
        "usual": f"the goal is {goal.arcmin:.2f}",
        "hand": f"a hand on these knobs can be expected to reach {goal.arcmin:.2f}",
    }[goal.source]
    vain = "; no axis allows the wanted exposure, for refraction alone forbids it" if goal.is_vain else ""
    sigma = f", sigma {_small(standing.sigma_arcmin)}" if standing.sigma_arcmin else ""
    return f"{left:.2f} arcmin are left{sigma}{vain}; {words}"


def _no_gain_words(choice: Choice) -> str:
    gain = "which is no gain" if choice.needed < 1 else "too little for one more turn after so many tonight"
    return f"a turn by hand would leave about {choice.turning.left_arcmin:.2f}, {gain}"


def _small(value: float) -> str:
    """Two decimals, or two significant digits of less than that."""
    return f"{value:.2f}" if value >= 0.1 else f"{value:.1g}" if value < 0.001 else f"{value:.3f}"


def _percent(chance: float) -> str:
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
