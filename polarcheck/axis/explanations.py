"""Which frames belong together, and which contradict the rest.

Frames that share a camera attitude (one declination, pier side and camera rotation) form a group: seen
from the camera, the mount's axis stands at one place. The data tell the groups; a frame solved elsewhere,
a knocked mount or a slipped declination shows as a frame that no group takes in.

The way: all frames of a camera are one group, unless their scatter asks for something else. Then explanations are
proposed: without the frames that a robust fit leaves out (`polarcheck.axis.robust`), and others
(`polarcheck.axis.proposals`). One likelihood weighs them all (`polarcheck.axis.evidence`). The most probable is taken;
the others, where their axis is another one, widen the sigma by their chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import UNLIKELY, Consensus
from polarcheck.axis.evidence import WRONG, chances
from polarcheck.axis.proposals import after_knocks, after_turns, by_rotations, few_left_out, groupings
from polarcheck.axis.robust import SMALLEST_ARC_DEG, Context, agree, everything, trial_axes
from polarcheck.vectors import Array, tangent_basis

__all__ = ["SMALLEST_ARC_DEG", "find_consensus", "is_clean", "most_probable"]

_CLEAN = 1.5  # scatter over assumed noise up to which nobody asks for another explanation
_SURE = 0.95  # chance at which an explanation is believed that leaves no residuals
_DECIDED = 0.9  # chance at which the most probable is taken where all frames as one are not excluded,
_EXCLUDED = 0.01  # as below this chance they are
_ELSEWHERE = 4.0  # squared standard errors from which another explanation's axis is another one


def find_consensus(attitudes: Attitudes, pole: Array, roll_ratio: float) -> Consensus:
    """Sort frames into groups, leave out what contradicts the rest, and fit the axis.

    Parameters
    ----------
    attitudes : Attitudes
        The frames in order of time.
    pole : ndarray, shape (3,)
        Where the axis should point, East-North-Up; trial axes lie within 20 deg of it.
    roll_ratio : float
        Roll noise over that of stars spread evenly over the sensor.

    Raises
    ------
    GeometryError
        No two frames of a camera differ by a turn about anything near the pole.
    """
    context = Context(attitudes, trial_axes(attitudes, pole), pole, roll_ratio)
    whole = everything(context)
    robust = agree(context, attitudes.camera.copy())
    if robust is not None and is_clean(whole, robust):
        return whole
    options = [
        whole,
        robust,
        # where a wrong frame is in the set and may hide another
        agree(context, attitudes.camera.copy(), WRONG),
        *few_left_out(context),
        *(agree(context, groups) for groups in groupings(context)),
        *after_knocks(context),
        *after_turns(context),
        by_rotations(context, whole),
    ]
    different = _distinct(options)
    return most_probable(different, chances(different, attitudes, pole))


def is_clean(whole: Consensus, robust: Consensus) -> bool:
    """Whether nobody asks for another explanation: all frames as one agree, none stands out."""
    return bool((robust.used == whole.used).all()) and whole.scale <= _CLEAN


def _distinct(options: Sequence[Consensus | None]) -> list[Consensus]:
    """Each explanation once."""
    found: dict[tuple[object, ...], Consensus] = {}
    for one in options:
        if one is not None:
            sorting = one.used.tobytes(), one.groups[one.used].tobytes()
            moments = one.turns.moments if one.turns else ()
            found.setdefault((*sorting, moments, one.knocked_before, one.rotations is None), one)
    return list(found.values())


def most_probable(options: Sequence[Consensus], chance: Array) -> Consensus:
    """Return the most probable explanation, with the others that point elsewhere.

    Parameters
    ----------
    options : sequence of Consensus
        The first is that of all frames as one.
    chance : ndarray, shape (n,)
        Of each; sum 1.

    Returns
    -------
    Consensus
        One that leaves no residuals (a pair of frames) is taken only where it is all but certain. Where nothing is decided
        all frames stay, as long as they may be right: their mean is nearer to the truth than a wrong choice among them.
    """
    bare = np.array([one.degrees_of_freedom <= 0 for one in options])
    believed = np.where(bare & (chance < _SURE), -1.0, chance)
    likeliest = int(np.argmax(believed))
    undecided = believed[likeliest] < _DECIDED and chance[0] > _EXCLUDED
    chosen = options[0 if undecided else likeliest]
    counted = [(float(c), one.axis) for c, one in zip(chance, options, strict=True) if c > UNLIKELY]
    return replace(chosen, rivals=tuple((c, axis) for c, axis in counted if _is_elsewhere(axis, chosen)))


def _is_elsewhere(axis: Array, chosen: Consensus) -> bool:
    apart = tangent_basis(chosen.axis).T @ axis
    information = (chosen.rotations or chosen.solution).information
    return bool(apart @ information @ apart > _ELSEWHERE * chosen.scale**2)
