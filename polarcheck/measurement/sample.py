"""Frames to the arrays that the fit needs: site, cameras, stations, noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.constants import ARCSEC
from polarcheck.errors import GeometryError, InputError, Notice
from polarcheck.frames import SENSOR_WEIGHTS, Frame, FrameSet, Problem, ProblemKind, Sensor, sensor_of
from polarcheck.measurement.file_times import file_time_notices
from polarcheck.measurement.impossible import (
    order_notice,
    require_possible_times,
    without_rough_solutions,
)
from polarcheck.measurement.plausibility import require_dark, require_sky_above, too_low
from polarcheck.measurement.pointings import Pointings
from polarcheck.site import Site
from polarcheck.sky import Epochs
from polarcheck.vectors import Array, unit

__all__ = ["Sample", "require_two", "sample_of", "site_of"]

Ints = npt.NDArray[np.int_]

_SAME_FIELD = 0.03  # of the sensor's width, between frames of one station
_SAME_PLACE_DEG = 0.01  # between the sites of two headers


@dataclass(frozen=True, slots=True)
class Sample:
    """The frames of one measurement, as arrays.

    Attributes
    ----------
    frames : tuple of Frame
        In order of time.
    sky : ndarray, shape (n, k, 3)
        ICRS unit vectors of the sensor points.
    epochs : Epochs
        Mid-exposures.
    noise : ndarray, shape (n,)
        Assumed one-sigma pointing noise per coordinate. [rad]
    camera : ndarray of int, shape (n,)
        Frames of one size, pixel scale and parity count as one camera's.
    station : ndarray of int, shape (n,)
        Consecutive frames that show the same stars in the same place share a number.
    notices : tuple of Notice
        What is doubtful about the frames.
    """

    frames: tuple[Frame, ...]
    sky: Array
    epochs: Epochs
    noise: Array
    camera: Ints
    station: Ints
    notices: tuple[Notice, ...]

    @property
    def elapsed_s(self) -> Array:
        """Time of each frame since the first, shape (n,). [s]"""
        utc = self.epochs.utc
        return np.asarray((utc - utc[0]).sum(axis=-1) * 86400)

    def part(self, some: Ints) -> Sample:
        """Return the sample of some frames, by index; its cameras are counted afresh."""
        return Sample(
            tuple(self.frames[i] for i in some),
            self.sky[some],
            self.epochs.at(some),
            self.noise[some],
            np.unique(self.camera[some], return_inverse=True)[1],
            self.station[some],
            self.notices,
        )


def site_of(frames: Sequence[Frame], fallback: Site | None = None) -> tuple[Site, list[Notice]]:
    """Take the site from the headers: the one that most frames name.

    Parameters
    ----------
    frames : sequence of Frame
        With their headers' sites.
    fallback : Site, optional
        Serves where no header names a site.

    Raises
    ------
    InputError
        No header has a usable site.
    """
    sites = [frame.site for frame in frames if frame.site is not None]
    if not sites and fallback is not None:
        return fallback, []
    if not sites:
        raise InputError(
            "no site: the headers name none that can be used. Give it (north and east positive; a degree is good "
            "enough)",
            ["site"],
        )
    places = np.array([(site.latitude_deg, site.longitude_deg) for site in sites])
    _, first, counts = np.unique(
        np.round(places / _SAME_PLACE_DEG), axis=0, return_index=True, return_counts=True
    )
    chosen = int(first[np.argmax(counts)])
    apart = np.abs(places - places[chosen]).max(axis=-1)
    others = int(np.count_nonzero(apart > _SAME_PLACE_DEG))
    if not others:
        return sites[chosen], []
    site = sites[chosen]
    text = (
        f"The headers disagree about the site: {others} of {len(sites)} frames name a place up to "
        f"{apart.max():.2f} deg away. Latitude {site.latitude_deg:.3f}, longitude "
        f"{site.longitude_deg:.3f} deg, named by most, is used; a stated site overrides it."
    )
    return site, [Notice("site-disagreement", text, ("site",))]


def sample_of(frame_set: FrameSet, site: Site, noise_px: float) -> tuple[Sample, list[Problem]]:
    """Make the arrays, and list the files that cannot take part.

    Parameters
    ----------
    frame_set : FrameSet
        All that was offered, with two usable frames or more; see `require_two`.
    site : Site
        Where; frames below its horizon cannot take part.
    noise_px : float
        Assumed pointing noise of a frame, per coordinate. [px]

    Raises
    ------
    InputError
        Site and clock put most frames below the horizon or the Sun well above it, exposures overlap, or the noise is
        not positive.
    GeometryError
        Fewer than two frames have a solution of their own.
    """
    if not 1e-4 <= noise_px <= 100:
        raise InputError(f"the assumed noise must lie within 0.0001 to 100 px, not {noise_px:g}")
    own, copied = _without_copied_solutions(frame_set.frames)
    own, rough = without_rough_solutions(own)
    copied += rough
    require_two(FrameSet(own, (*frame_set.problems, *copied)))
    doubtful = require_possible_times(own)
    order = order_notice(own)
    doubtful += [order] if order else []
    sky = np.array([frame.sky for frame in own])
    epochs = Epochs.of(np.array([frame.utc for frame in own]))
    pointings = Pointings.of(unit(np.einsum("k,nki->ni", SENSOR_WEIGHTS, sky)), epochs, site)
    require_sky_above(pointings)
    require_dark(pointings.at(pointings.above_horizon))
    low = too_low(pointings)
    hidden = [_problem(frame, why) for frame, why in zip(own, low, strict=True) if why]
    high = np.array([why is None for why in low])
    frames = tuple(frame for frame, is_high in zip(own, high, strict=True) if is_high)
    require_two(FrameSet(frames, (*frame_set.problems, *copied, *hidden)))
    sky, epochs = sky[high], epochs.at(high)
    scale = np.array([frame.pixel_scale_arcsec for frame in frames]) * ARCSEC
    sample = Sample(
        frames,
        sky,
        epochs,
        noise_px * scale,
        _cameras(frames),
        _stations(sky, np.array([frame.width_px for frame in frames]) * scale),
        (*epochs.orientation.notices, *_frame_notices(frames), *file_time_notices(frames), *doubtful),
    )
    return sample, [*frame_set.problems, *copied, *hidden]


def require_two(frame_set: FrameSet) -> None:
    """Refuse fewer than two usable frames, with what is wrong with the others.

    Raises
    ------
    GeometryError
        Fewer than two frames.
    """
    count = len(frame_set.frames)
    if count >= 2:
        return
    bad = [problem for problem in frame_set.problems if not problem.is_sidecar]
    why = "".join(f"\n  {problem.name}: {problem.reason}" for problem in bad[:5])
    more = f"\n  and {len(bad) - 5} more" if len(bad) > 5 else ""
    copies = sum(problem.kind is ProblemKind.COPY for problem in frame_set.problems)
    if copies and not bad:
        why = f" (the other {copies} are copies of it)"
    error = GeometryError(
        f"{count or 'no'} usable frame{'' if count == 1 else 's'}: two solved frames at different right "
        f"ascensions are the least{':' if bad else ''}{why}{more}",
        0.0,
        sorted({parameter for problem in bad for parameter in problem.parameters}),
    )
    error.is_unsolved = any(problem.kind is ProblemKind.NOT_SOLVED for problem in bad)
    raise error


def _without_copied_solutions(frames: Sequence[Frame]) -> tuple[tuple[Frame, ...], list[Problem]]:
    """Leave out frames with the solution of an earlier one to the last digit: no sensor gives that twice."""
    first: dict[bytes, Frame] = {}
    copied = []
    for frame in frames:
        kept = first.setdefault(frame.sky.tobytes(), frame)
        if kept is not frame:
            reason = (
                f"carries the very solution of {kept.name}, taken at another time: copied, not solved; "
                "plate-solve it itself"
            )
            copied.append(_problem(frame, reason))
    return tuple(first.values()), copied


def _problem(frame: Frame, reason: str) -> Problem:
    return Problem(frame.path, frame.name, reason, utc=frame.utc)


def _cameras(frames: Sequence[Frame]) -> Ints:
    """Number frames by camera: size, parity, and pixel scale."""
    known: list[Sensor] = []
    numbers = np.empty(len(frames), dtype=int)
    for i, frame in enumerate(frames):
        sensor = sensor_of(frame)
        number = next((n for n, other in enumerate(known) if sensor.is_like(other)), len(known))
        if number == len(known):
            known.append(sensor)
        numbers[i] = number
    return numbers


def _stations(sky: Array, width: Array) -> Ints:
    """Number stations: frames in sequence that show what their station's first one shows, so that no drift adds up."""
    station, first = np.zeros(len(sky), dtype=int), 0
    for i in range(1, len(sky)):
        apart = np.linalg.norm(sky[i] - sky[first], axis=-1).max() > _SAME_FIELD * width[i]
        first = i if apart else first
        station[i] = station[i - 1] + apart
    return station


def _frame_notices(frames: Sequence[Frame]) -> list[Notice]:
    """Each kind of notice once, with the number of frames that bear it."""
    found: dict[str, tuple[Notice, int]] = {}
    for frame in frames:
        for notice in frame.notices:
            first, count = found.get(notice.code, (notice, 0))
            found[notice.code] = (first, count + 1)
    total = len(frames)
    return [
        Notice(code, f"{count} of {total} frames: {first.text}") for code, (first, count) in found.items()
    ]
