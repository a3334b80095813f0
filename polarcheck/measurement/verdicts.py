"""What became of every file, and what the reader of the result must be warned of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.alignment import AxisError
from polarcheck.axis import AxisFit
from polarcheck.constants import ARCMIN, ARCSEC, DEGREE
from polarcheck.errors import Notice
from polarcheck.frames import Problem
from polarcheck.measurement.plausibility import low_notice
from polarcheck.measurement.sample import Sample
from polarcheck.measurement.sweep_verdicts import sweep_notices
from polarcheck.measurement.tracked_verdicts import tracked_notices
from polarcheck.times import iso_from_utc
from polarcheck.vectors import Array, angle_between

__all__ = ["FrameEntry", "fit_notices", "frame_entries", "left_out_lines"]

_MOST_LISTED = 5  # files that a refusal names
_CLEAR = 5.0  # standard errors at which a component of a misfit is called wrong
_LARGE_ERROR_ARCMIN = 300.0
_NOISY = 5.0  # scatter over assumed noise that is worth a word


@dataclass(frozen=True, slots=True)
class FrameEntry:
    """One file that was offered, and what became of it.

    Attributes
    ----------
    name : str
        Printable.
    used : bool
        Whether it bears on the axis.
    reason : str or None
        Why not.
    utc : tuple of float or None
        Mid-exposure, two-part Julian date.
    group : int or None
        Group of frames with one camera attitude, counted from 1.
    axis_angle_deg : float or None
        Rotation about the axis, growing westward from the upper meridian. [deg]
    residual_arcsec : float or None
        Root mean square over the sensor points. [arcsec]
    is_sidecar : bool
        Whether another file stands for it, so that it was not left out.
    """

    name: str
    used: bool
    reason: str | None = None
    utc: tuple[float, float] | None = None
    group: int | None = None
    axis_angle_deg: float | None = None
    residual_arcsec: float | None = None
    is_sidecar: bool = False


def frame_entries(sample: Sample, fit: AxisFit, refused: Sequence[Problem]) -> tuple[FrameEntry, ...]:
    """List every file that was offered, in order of time, those without time last.

    Parameters
    ----------
    sample : Sample
        The frames that were fitted.
    fit : AxisFit
        What came of them.
    refused : sequence of Problem
        The files that are no frames, and the frames that could not take part.
    """
    entries = [
        FrameEntry(
            name=frame.name,
            used=bool(fit.used[i]),
            reason=None if fit.used[i] else _reason(sample, fit, i),
            utc=frame.utc,
            group=int(fit.groups[i]) + 1 if fit.used[i] else None,
            axis_angle_deg=float(fit.axis_angles[i]) / DEGREE,
            residual_arcsec=float(fit.residuals[i]) / ARCSEC if _has_group(sample, fit, i) else None,
        )
        for i, frame in enumerate(sample.frames)
    ]
    entries += [FrameEntry(p.name, False, p.reason, p.utc, is_sidecar=p.is_sidecar) for p in refused]
    return tuple(sorted(entries, key=lambda e: (e.utc is None, sum(e.utc or ()))))


def left_out_lines(files: Sequence[Problem | FrameEntry]) -> str:
    """Return the files without which there is no result, one a line, to put at the end of a refusal."""
    bad = [file for file in files if file.reason and not file.is_sidecar]
    if not bad:
        return ""
    lines = [f"\nLeft out: {len(bad)}", *(f"  {file.name}: {file.reason}" for file in bad[:_MOST_LISTED])]
    more = [f"  and {len(bad) - _MOST_LISTED} more"] if len(bad) > _MOST_LISTED else []
    return "\n".join(lines + more)


def fit_notices(sample: Sample, fit: AxisFit, error: AxisError, observed: Array, pole: Array) -> list[Notice]:
    """Say what makes the result weaker than it looks.

    Parameters
    ----------
    sample, fit, error
        The frames, the fit, and the error that it gives.
    observed : ndarray, shape (n, k, 3)
        Observed directions, for the altitudes.
    pole : ndarray, shape (3,)
        About which the sky turns, East-North-Up.
    """
    return [
        *tracked_notices(fit),
        *_scatter(sample, fit),
        *([_turned(sample, fit)] if fit.turns else []),
        *sweep_notices(sample, fit, pole),
        *_moved(sample, fit),
        *_groups(fit),
        *_far_off(error),
        *low_notice(observed[fit.used]),
    ]


def _scatter(sample: Sample, fit: AxisFit) -> list[Notice]:
    count = int(fit.used.sum())
    found = [_no_redundancy(sample, fit, count)] if fit.degrees_of_freedom == 0 else []
    if not fit.agrees:
        return [*found, _disagreement(fit, count)]
    if fit.noise <= _NOISY or not fit.degrees_of_freedom:
        return found
    return [
        *found,
        Notice(
            "noisy-frames",
            f"The frames scatter {fit.noise:.1f} times as much as well-solved ones do; the sigma holds that. "
            "Wind, flexure, settling after the slew, or solutions without a distortion fit.",
        ),
    ]


def _moved(sample: Sample, fit: AxisFit) -> list[Notice]:
    if fit.knocked_before is None:
        return []
    before, after = (iso_from_utc(sample.frames[fit.knocked_before + i].utc) for i in (-1, 0))
    return [
        Notice(
            "mount-moved",
            f"The mount as a whole moved between {before} and {after} (knocked, or a knob turned): only the "
            "frames after that count. If it was not on purpose, check the tripod and measure again.",
        )
    ]


def _groups(fit: AxisFit) -> list[Notice]:
    sizes = fit.group_sizes
    if len(sizes) <= 1:
        return []
    shown = " + ".join(str(size) for size in sizes if size)
    return [
        Notice(
            "several-groups",
            f"The frames fall into groups of {shown}: declination, pier side, camera rotation or camera "
            "changed between them. Each group needs a turn in right ascension of its own.",
        )
    ]


def _far_off(error: AxisError) -> list[Notice]:
    if error.total_arcmin <= _LARGE_ERROR_ARCMIN:
        return []
    return [
        Notice(
            "large-error",
            f"The axis is {error.total_arcmin / 60:.1f} deg off. If that seems too much: a wrong site or "
            "clock does not do it, a declination that moved between frames does.",
        )
    ]


def _no_redundancy(sample: Sample, fit: AxisFit, count: int) -> Notice:
    assumed = float(np.median(sample.noise[fit.used])) / ARCSEC
    stations = len(np.unique(fit.station[fit.used]))
    frames = f"{count} frames" if stations == count else f"{count} frames at {stations} positions"
    return Notice(
        "assumed-noise",
        f"{frames} have no redundancy: the sigma rests on an assumed noise of {assumed:.2f} arcsec for a frame's "
        "pointing, and a wrong frame would not show. One more position checks it.",
        ("noise_px",),
    )


def _disagreement(fit: AxisFit, count: int) -> Notice:
    what = (
        f"The {count} frames contradict each other: they scatter {fit.noise:.0f} times as much as noise would"
        if fit.noise >= 2
        else "Some frames contradict the others, and another choice among them fits nearly as well; the sigma holds that"
    )
    return Notice(
        "frames-disagree",
        f"{what}. They are too few to tell which is wrong: a frame solved elsewhere, a declination or camera that "
        "moved, or a knocked mount. Take two more frames, or a fresh sweep.",
    )


def _turned(sample: Sample, fit: AxisFit) -> Notice:
    """The mount was turned as a whole: when, and by how much."""
    assert fit.turns is not None
    times = [
        " and ".join(clock[:19] for clock in (iso_from_utc(sample.frames[k + i].utc) for i in (-1, 0)))
        for k in fit.turns.moments
    ]
    moved = float(angle_between(fit.axis, fit.turns.axis_before(fit.axis))) / ARCMIN
    return Notice(
        "mount-moved",
        f"The mount as a whole moved between {', and between '.join(times)} (a knob turned, or a knock), last by "
        f"{moved:.1f} arcmin. The answer is the axis as it stands since; the frames before only help to tell where "
        "it lies in the camera. If it was not on purpose, check the tripod and measure again.",
    )


def _has_group(sample: Sample, fit: AxisFit, i: int) -> bool:
    """Whether a frame's camera has a group that its misfit can refer to."""
    return bool(fit.used[i] or (fit.used & (sample.camera == sample.camera[i])).any())


def _reason(sample: Sample, fit: AxisFit, i: int) -> str:
    if not _has_group(sample, fit, i):
        frame = sample.frames[i]
        return (
            f"the only frame in use of its camera ({frame.width_px} x {frame.height_px} px at "
            f"{frame.pixel_scale_arcsec:.2f} arcsec/px); alone it says nothing about the axis"
        )
    if fit.knocked_before is not None and i < fit.knocked_before:
        return "taken before the mount moved"
    declination, turn, sine = _departure(fit, i)
    limit = _CLEAR * fit.noise * sample.noise[i]
    variance = fit.solution.variances[fit.groups[i]][1]
    if turn * sine < limit * np.sqrt(variance):
        return f"declination {_angle(declination)} off the other frames: it moved, or the solution is wrong"
    if declination < limit:
        return f"camera rotation {_angle(turn)} off the other frames: it turned, or the solution is poor"
    return (
        f"{_angle(float(fit.residuals[i]))} from where the axis would put it (declination {_angle(declination)}, "
        f"rotation {_angle(turn)}): solved wrongly, or declination, camera or mount moved"
    )


def _departure(fit: AxisFit, i: int) -> tuple[float, float, float]:
    """How far a frame's declination and camera rotation are from its group's, and the lever of the rotation.

    Both angles not negative and exact, however far the frame is off [rad]; the lever is the sine of the
    distance between boresight and axis.
    """
    boresight = fit.attitudes.boresights[fit.attitudes.camera[i]]
    here, group = fit.attitudes.matrices[i].T @ fit.axis, fit.camera_axes[fit.groups[i]]
    distances = angle_between(np.stack([here, group]), boresight)
    across, along = (np.cross(boresight, place) for place in (here, group))
    turn = np.arctan2(np.cross(along, across) @ boresight, across @ along)
    return float(abs(distances[0] - distances[1])), float(abs(turn)), float(np.sin(distances[1]))


def _angle(angle: float) -> str:
    if angle < 2 * ARCMIN:
        return f"{angle / ARCSEC:.0f} arcsec"
    return f"{angle / ARCMIN:.1f} arcmin" if angle < 2 * DEGREE else f"{angle / DEGREE:.1f} deg"
