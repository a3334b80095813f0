"""What people do wrong while they sweep, as far as the fitted frames betray it, and what they cannot betray."""

from __future__ import annotations

import numpy as np

from polarcheck.axis import AxisFit, Creep
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.errors import Notice
from polarcheck.measurement.sample import Sample
from polarcheck.vectors import Array, angle_between, rotation_matrix, tangent_basis, unit

__all__ = ["creep_notice", "sweep_notices"]

_MUCH_CREEP = 1.5  # times the allowance, from which a creep may as well be a move of the mount
_ELSEWHERE = 3 * DEGREE  # a frame further off than this was solved wrongly, not moved
_LIKE_A_CLOCK = 6.0  # squared standard errors up to which a turn of the mount looks like a wrong clock
_REFRACTED = 30 * ARCSEC
_SHIFTED = 12.0  # and from which it is a turn at all, not noise


def sweep_notices(sample: Sample, fit: AxisFit, pole: Array) -> list[Notice]:
    """Say what moved slowly, what the newest frames say, and what so few positions cannot show.

    Parameters
    ----------
    sample, fit
        The frames and their fit.
    pole : ndarray, shape (3,)
        About which the sky turns, East-North-Up.
    """
    found = [*_three_positions(sample, fit), _newest(sample, fit), _clock(fit, pole)]
    if fit.slow_change:
        found.append(_SLOW[fit.slow_change])
    return [notice for notice in found if notice]


def creep_notice(creep: Creep | None, allowed: float) -> Notice | None:
    """Say that a creep was solved for that is too large for one: a turn of a knob looks alike.

    Parameters
    ----------
    creep : Creep or None
        What was solved for.
    allowed : float
        Size of creep that is allowed for beside the noise. [rad]
    """
    if creep is None or abs(creep.amount) - 2 * creep.sigma < _MUCH_CREEP * allowed:
        return None
    return Notice(
        "much-creep",
        f"The answer takes {abs(creep.amount) / ARCSEC:.0f} arcsec between the first frame and the last for a steady "
        "creep of the declination, which is much. If a knob was turned, the mount knocked or the clock set before the last "
        "frames, the same would show, and this answer is not the axis that stands now: take two more frames at other "
        "positions and measure only the frames since.",
    )


_SLOW = {
    "declination": Notice(
        "declination-moved",
        "The declination moved between the frames: their places contradict each other, their rotations agree. The "
        "answer is from the rotations alone, which tell far less. Clamp declination and sweep again.",
    ),
    "bend": Notice(
        "frames-bend",
        "The frames' misfits grow smoothly through the sweep: the tripod sinks, the declination or the camera creeps, "
        "or a cable pulls. Part of that looks like another axis, so the answer may be off by more than the residuals "
        "say; the sigma is widened by what a steady change would do. Let the mount settle, free the cables, sweep "
        "again.",
    ),
}


def _three_positions(sample: Sample, fit: AxisFit) -> list[Notice]:
    """Whether the declinations of the frames in use check each other at all."""
    groups, used = fit.groups, fit.used
    places = len(np.unique(np.stack([groups[used], fit.station[used]]), axis=1).T)
    if fit.degrees_of_freedom == 0 or fit.slow_change or places - 2 - len(np.unique(groups[used])) > 0:
        return []
    roll = (
        fit.noise * float(np.median(sample.noise[used])) * np.sqrt(float(fit.solution.variances[:, 1].max()))
    )
    arc = max(fit.arc, 5 * DEGREE)
    hidden = 3 * roll  # a frame that leans the axis by less than its rolls can tell
    wrong = hidden * arc**2 / 4
    told = Notice(
        "three-positions",
        f"Three positions always lie on some circle, so their places check nothing; only their rotations do, to about "
        f"{hidden / ARCMIN:.1f} arcmin of axis. A frame that is wrong by up to {max(wrong / ARCSEC, 1.0):.0f} arcsec "
        "moves the answer by as much and stays unseen. A fourth position checks the places, and finds a wrong one "
        "to a few arcsec.",
    )
    return [told, *_left_out_of_few(sample, fit)]


def _left_out_of_few(sample: Sample, fit: AxisFit) -> list[Notice]:
    """Frames that may as well be right, where those in use agree since any so few do."""
    mates = np.isin(sample.camera, sample.camera[fit.used])
    left = np.flatnonzero(~fit.used & mates & (np.hypot(*fit.solution.misfit.T) < _ELSEWHERE))
    if not len(left) or not fit.agrees:
        return []
    return [
        Notice(
            "frames-disagree",
            f"{sample.frames[left[0]].name} was left out because the rest agree; but three positions nearly always do, "
            "so another frame may be the wrong one, or the declination moved at every position. Take two more frames, "
            "or a fresh sweep.",
        )
    ]


def _newest(sample: Sample, fit: AxisFit) -> Notice | None:
    """The last frames of a camera in use do not fit: what they would say of the axis now."""
    last = int(np.flatnonzero(fit.used)[-1])
    later = np.arange(last + 1, len(fit.used))
    later = later[sample.camera[later] == sample.camera[last]]
    near = [i for i in later if np.hypot(*fit.solution.misfit[i]) < _ELSEWHERE]
    if not near:
        return None
    axes = fit.attitudes.matrices[near] @ fit.camera_axes[fit.groups[last]]
    moved = float(angle_between(unit(axes.mean(axis=0)), fit.axis)) / ARCMIN
    which = sample.frames[near[0]].name if len(near) == 1 else f"The last {len(near)} frames"
    return Notice(
        "newest-frames-differ",
        f"{which}, taken last, {'does' if len(near) == 1 else 'do'} not fit the frames before. If a knob was turned or "
        f"the mount knocked before that, the axis has moved by about {moved:.1f} arcmin and this answer is the old one; "
        "else declination or camera moved, or the solution is wrong. Take two more frames.",
    )


def _clock(fit: AxisFit, pole: Array) -> Notice | None:
    """Whether a turn of the mount is what a clock set by whole hours would feign: a turn about the pole."""
    if not fit.turns:
        return None
    now, before = fit.axis, fit.turns.axis_before(fit.axis)
    basis = tangent_basis(now)
    # both axes are as uncertain, and refraction is not that of the wrong hour
    weight = np.linalg.inv(2 * fit.covariance + _REFRACTED**2 * np.eye(2))

    def apart(axis: Array) -> float:
        offset = basis.T @ (axis - now)
        return float(offset @ weight @ offset)

    if apart(before) < _SHIFTED:
        return None
    hours = [
        hours
        for hours in range(-12, 13)
        if apart(rotation_matrix(pole, hours * 3600 * SIDEREAL_RATE) @ before) < _LIKE_A_CLOCK
    ]
    if not hours:
        return None
    return Notice(
        "clock-jump",
        f"That move is what a clock set by {abs(min(hours, key=abs))} h between these frames would feign: the axis goes "
        "round the pole at the same distance. If the clock was set, give the frames before and after separately, and "
        "say how far the clock was ahead where it was wrong.",
        ("clock_ahead_s",),
    )
