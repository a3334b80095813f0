"""How probable an explanation of the frames is: one likelihood for all of them.

Good frames follow the linear model, with white noise whose scale nobody knows: the assumed one counts for six
degrees of freedom (an inverse gamma distribution of the variance), so that it drops out in closed form. What
an explanation solves for besides, the axis and each camera's constants, has a flat prior and drops out, too. Whatever
went wrong by a displacement (a frame, a slip, a turn of the mount) may have gone wrong by any decade alike: at
an error of size r, in units of the noise, the prior density is one over r, in each component. Every prior is one named number.

References
----------
.. [1] D. J. C. MacKay, "Bayesian interpolation", Neural Computation 4 (1992) 415: evidence, and the factor by which
   each solved parameter narrows (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from polarcheck.axis.attitudes import Attitudes
from polarcheck.axis.consensus import PRIOR_DOF, Consensus
from polarcheck.constants import DEGREE
from polarcheck.vectors import Array, tangent_basis

__all__ = ["chances", "log_evidence"]

Ints = npt.NDArray[np.int_]
Bools = npt.NDArray[np.bool_]

WRONG = 0.02
"""Chance that a frame is solved elsewhere, or was moved."""
SLIP = 3e-3
"""Chance that declination, pier side or camera rotation changed between two frames."""
TURN = 3e-3
"""Chance that the mount was turned as a whole between two frames, by a knob or a knock."""
TO_AND_FRO = 0.05
"""Chance, of frames in several groups, that they go to and fro between them."""
LOOSE = 0.01
"""Chance that the declination moved at every position."""
DECADES = 5.0
"""Over so many decades errors of all sizes are alike: from the noise of a frame to degrees."""
USUAL_ERROR = 1.0 * DEGREE
"""Error of the axis up to which the eye's alignment leaves all errors alike; larger ones are rarer."""

_LARGE = 3.0  # power of the usual error over a larger one at which its density falls
_NOISE = 1.5  # an error that the noise alone feigns, in its units
_LEAST_MOVE = 200.0  # of a knob, or of a declination that is not clamped: smaller ones are no likelier
_FLAT = 1e-6  # singular value of equations that tell nothing


def chances(explanations: list[Consensus], attitudes: Attitudes, pole: Array) -> Array:
    """Return the chance of each explanation, sum 1.

    Parameters
    ----------
    explanations : list of Consensus
        Different ones, each of which uses frames of the first or of any other.
    attitudes : Attitudes
        The frames in order of time.
    pole : ndarray, shape (3,)
        Near the axis.
    """
    playing = np.any([_used(one) for one in explanations], axis=0)
    found = np.array([log_evidence(one, attitudes, playing, pole) for one in explanations])
    odds = np.exp(found - found.max())
    return np.asarray(odds / odds.sum())


def log_evidence(one: Consensus, attitudes: Attitudes, playing: Bools, pole: Array) -> float:
    """Return the logarithm of an explanation's probability, up to a constant that all share.

    Parameters
    ----------
    one : Consensus
        The explanation.
    attitudes : Attitudes
        The frames in order of time.
    playing : ndarray of bool, shape (n,)
        Frames that any explanation uses; the others are wrong by this one.
    pole : ndarray, shape (3,)
        Near the axis.
    """
    prior = _of_axis(one.axis, pole)
    if one.rotations:
        prior, narrowed = prior + _loose(one, attitudes), _narrowed_by_rotations(one, attitudes)
    else:
        prior += _wrong(one, attitudes, playing) + _slips(one, attitudes) + _moves(one, attitudes)
        narrowed = sum(_narrowed(part, attitudes) for part in (one, one.before) if part)
    freedom, half = one.degrees_of_freedom, (PRIOR_DOF + one.degrees_of_freedom) / 2
    likelihood = (
        math.lgamma(half) - half * np.log((PRIOR_DOF + one.chi_square) / 2) - freedom / 2 * np.log(2 * np.pi)
    )
    return float(prior - narrowed + likelihood)


def _used(one: Consensus) -> Bools:
    return one.used | one.before.used if one.before else one.used


def _density(errors: Array, least: float = _NOISE) -> float:
    """Logarithm of the prior density of what went wrong, component by component, in units of the noise."""
    return -float(np.sum(np.log(2 * DECADES * np.log(10.0) * np.hypot(errors, least))))


def _of_axis(axis: Array, pole: Array) -> float:
    far = float(np.arccos(np.clip(axis @ pole, -1, 1))) / USUAL_ERROR
    return -_LARGE / 2 * float(np.log1p(far**2))


def _wrong(one: Consensus, attitudes: Attitudes, playing: Bools) -> float:
    """Frames left out, each displaced by its misfit to the nearest group."""
    out = np.flatnonzero(playing & ~_used(one))
    misfits = np.stack([_misfits(part)[out] for part in (one, one.before) if part])
    nearest = np.argmin(np.sum(misfits**2, axis=-1), axis=0)
    off = misfits[nearest, np.arange(len(out))] / attitudes.noise[out, None]
    return float(len(out) * np.log(WRONG)) + _density(off)


def _misfits(one: Consensus) -> Array:
    return np.asarray(one.solution.misfit / np.sqrt(one.solution.variances[one.groups]))


def _slips(one: Consensus, attitudes: Attitudes) -> float:
    """Groups of one camera beyond the first, each displaced from the nearest before it."""
    groups, camera = one.groups[one.used], attitudes.camera[one.used]
    names, first = np.unique(groups, return_index=True)
    places = np.einsum("gji,j->gi", one.solution.cameras, one.solution.axis)
    found = 0.0
    for i in range(1, len(names)):
        mates = [names[j] for j in range(i) if camera[first[j]] == camera[first[i]]]
        if mates:
            apart = places[mates] - places[names[i]]
            nearest = apart[np.argmin(np.sum(apart**2, axis=-1))]
            found += np.log(SLIP) + _density(_slipped(one, names[i], nearest, attitudes))
    several = len(names) > len(np.unique(camera))
    to_and_fro = several and np.count_nonzero(np.diff(groups)) >= len(names)
    return float(found + (np.log(TO_AND_FRO) if to_and_fro else 0.0))


def _slipped(one: Consensus, group: int, apart: Array, attitudes: Attitudes) -> Array:
    """A displacement of the axis' place in the camera, in declination and rotation, in units of the noise."""
    normal, across = one.solution.planes[group].T
    both = np.array([apart @ across, apart @ normal])
    return np.asarray(both / np.sqrt(one.solution.variances[group] * _variance(attitudes)))


def _moves(one: Consensus, attitudes: Attitudes) -> float:
    """Turns of the mount, and a knock that moved the declination with it."""
    axis, found, sigma = one.solution.axis, 0.0, np.sqrt(_variance(attitudes))
    basis = tangent_basis(axis)
    if one.turns:
        steps = np.diff(np.einsum("tji,j->ti", one.turns.rotations, axis), axis=0) @ basis
        found += len(steps) * np.log(TURN) + _density(steps / sigma, _LEAST_MOVE)
    if one.before:
        other = one.before.solution
        places = one.solution.cameras[0].T @ axis - other.cameras[0].T @ other.axis
        found += np.log(TURN) + _density((other.axis - axis) @ basis / sigma, _LEAST_MOVE)
        found += np.log(SLIP) + _density(_slipped(one, 0, places, attitudes))
    return found


def _loose(one: Consensus, attitudes: Attitudes) -> float:
    """The declination's steps from frame to frame: normal, of one size, which may be any decade alike."""
    boresight = np.einsum("nij,nj->ni", attitudes.matrices, attitudes.boresights[attitudes.camera])
    steps = np.diff(np.arccos(np.clip(boresight @ one.axis, -1, 1)))
    half = len(steps) / 2
    square = float(steps @ steps) / _variance(attitudes) + len(steps) * _LEAST_MOVE**2
    decade = math.log(2 * DECADES * math.log(10.0))
    return math.log(LOOSE) - decade + math.lgamma(half) - half * math.log(math.pi * square)


def _variance(attitudes: Attitudes) -> float:
    return float(np.median(attitudes.noise)) ** 2


def _narrowed(one: Consensus, attitudes: Attitudes) -> float:
    """Half the logarithm of the determinant of all that is solved for, in units of the noise."""
    solution, used = one.solution, one.used
    groups = np.unique(one.groups[used], return_inverse=True)[1]
    scale = np.sqrt(solution.weights[used][:, None] / solution.variances[one.groups[used]])
    design = solution.design[used] * scale[..., None] * np.sqrt(_variance(attitudes))
    columns = [design]
    if one.turns:
        stretch = one.turns.stretch(len(used))[used]
        columns += [design * (stretch == s)[:, None, None] for s in range(len(one.turns.moments))]
    member = np.eye(int(groups.max()) + 1)[groups]
    columns += [np.stack([member, 0 * member], axis=1), np.stack([0 * member, member], axis=1)]
    rows = np.concatenate(columns, axis=-1).reshape(2 * len(groups), -1)
    return float(np.log(np.maximum(np.linalg.svd(rows, compute_uv=False), _FLAT)).sum())


def _narrowed_by_rotations(one: Consensus, attitudes: Attitudes) -> float:
    """The same of the axis by rotations alone, and the camera's constant; each declination is its own."""
    assert one.rotations is not None
    information = np.linalg.eigvalsh(one.rotations.information * _variance(attitudes))
    return float(np.log(np.maximum(information, _FLAT**2)).sum() + np.log(len(one.used))) / 2
