"""The attitude fitted again: to catalogue stars with their proper motions, through one lens for all frames of a camera.

A solver's own solution rests on its index's epoch and gives each frame a distortion of its own, which a few dozen stars
do not tell well. Here all frames of a camera share their lens, and each has three unknowns only. Where time and place
are known, stars are taken where they are seen, refraction and aberration included, so that the sky's own shear is not
laid on the lens.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from polarcheck.constants import ARCSEC
from polarcheck.frames import Plate, fit_plate, sensor_grid
from polarcheck.site import Site
from polarcheck.sky import Sky, reference_stars
from polarcheck.solving.camera import FieldStars, Lens, LensFit, fit_lens
from polarcheck.solving.one_frame import Recognised
from polarcheck.vectors import Array, best_rotations, unit

__all__ = ["Refitted", "View", "refit", "view_of"]

_SCALE_RATIO = 1.015
_INDEX_SIGMA = 0.4 * ARCSEC  # of a star of an index: no proper motion, and a quarter of a century
_APART = 10.0 * ARCSEC  # an index star nearer to one of the catalogue is that star
# how near a star must be to where it should, and the frame's centre to where the solver has it
_REACH_PX = 3.0
_LEAST_STARS = 5
_WORST_PX = 1.0  # a fit that leaves more is none
_LOWEST = np.sin(np.radians(3.0))
_INDEX = "index"


@dataclass(frozen=True, slots=True)
class Refitted:
    """A frame's attitude, fitted again.

    Attributes
    ----------
    plate : Plate
    matched_stars : int
    residual_rms_px : float
        Per coordinate. [px]
    stars_from : tuple of (str, int)
        How many of the stars have their places from which catalogue.
    order : int
        Of the lens' distortion; 1 is none.
    frames : int
        Frames that share the lens.
    """

    plate: Plate
    matched_stars: int
    residual_rms_px: float
    stars_from: tuple[tuple[str, int], ...]
    order: int
    frames: int


@dataclass(frozen=True, slots=True)
class View:
    """A frame on the way: its stars, what they may be, and the sky it looks at.

    Attributes
    ----------
    seen : Recognised
    sky : Sky or None
        None where its time or place are not known, or cannot be.
    reference : ndarray, shape (n, 3)
        Stars of catalogue and index around it: ICRS unit vectors on its date.
    sigmas : ndarray, shape (n,)
        How well these are known. [rad]
    origins : ndarray of str, shape (n,)
        Where they are from.
    centre_px : ndarray, shape (2,)
        The sensor's centre. [px]
    """

    seen: Recognised
    sky: Sky | None
    reference: Array
    sigmas: Array
    origins: npt.NDArray[np.str_]
    centre_px: Array

    @property
    def pixels(self) -> Array:
        """Stars from the sensor's centre. [px]"""
        return np.asarray(self.seen.stars.pixels - self.centre_px)

    def observed(self, icrs: Array) -> Array:
        """Directions as seen; ICRS where time or place are not known."""
        if self.sky is None or self.seen.said.utc is None:
            return icrs
        return np.asarray(self.sky.observed(icrs[None], np.array([self.seen.said.utc]))[0])

    def icrs(self, observed: Array) -> Array:
        """The way back."""
        if self.sky is None or self.seen.said.utc is None:
            return observed
        return np.asarray(self.sky.icrs(observed[None], np.array([self.seen.said.utc]))[0])


def view_of(frame: Recognised, site: Site | None = None) -> View:
    """Bring together what one frame's attitude is fitted to.

    Parameters
    ----------
    frame : Recognised
    site : Site, optional
        Where its header names none.

    Returns
    -------
    View
    """
    size = np.array([frame.stars.width_px, frame.stars.height_px])
    middle = (size - 1) / 2
    corners = frame.match.solution.icrs_from_pixels(np.array([middle, [0.0, 0.0], size - 1.0]))
    radius = float(np.arccos(np.clip(corners[1:] @ corners[0], -1, 1)).max()) * 1.05
    stars = reference_stars(corners[0], radius, frame.said.utc)
    directions, sigmas, origins = stars.directions, stars.sigmas, stars.origins
    if frame.match.sky is not None and len(frame.match.sky):
        new = frame.match.sky
        if len(directions):
            new = new[(new @ directions.T).max(axis=1) < np.cos(_APART)]
        directions = np.vstack([directions, new])
        sigmas = np.concatenate([sigmas, np.full(len(new), _INDEX_SIGMA)])
        origins = np.concatenate([origins, np.full(len(new), _INDEX)])
    there = frame.said.site or site
    sky = None if there is None or frame.said.utc is None else Sky.over(there)
    view = View(frame, sky, directions, sigmas, origins, middle)
    is_up = sky is None or view.observed(corners[:1])[0, 2] > _LOWEST
    return view if is_up else replace(view, sky=None)  # its clock or its place is wrong


def refit(views: Sequence[View]) -> dict[Path, Refitted]:
    """Fit the attitudes of frames again, those of one camera together.

    Parameters
    ----------
    views : sequence of View

    Returns
    -------
    dict
        Of those frames for which it went well, by their path; for the others the solver's solution stands.
    """
    found: dict[Path, Refitted] = {}
    for camera in _cameras(views):
        found |= _of_one_camera(camera)
    return found


def _cameras(views: Sequence[View]) -> list[list[View]]:
    """Frames of one size, parity and scale."""
    groups: list[tuple[tuple[int, int, bool], float, list[View]]] = []
    for view in views:
        _, scale, mirrored = view.seen.match.solution.sampled()
        kind = (view.seen.stars.width_px, view.seen.stars.height_px, mirrored)
        for known, other, members in groups:
            if known == kind and 1 / _SCALE_RATIO < scale / other < _SCALE_RATIO:
                members.append(view)
                break
        else:
            groups.append((kind, scale, [view]))
    return [members for _, _, members in groups]


def _of_one_camera(views: Sequence[View]) -> dict[Path, Refitted]:
    lens = _lens_to_begin_with(views[0])
    matches = [_matched(view, _predicted_by_solver(view)) for view in views]
    kept = [(v, m) for v, m in zip(views, matches, strict=True) if len(m[0]) >= _LEAST_STARS]
    if not kept:
        return {}
    views = [view for view, _ in kept]
    fit = fit_lens([_field(view, match, lens) for view, match in kept], lens)
    matches = [_matched(v, _predicted(v, f, fit.lens)) for v, f in zip(views, fit.fields, strict=True)]
    again = [
        (v, m, f) for v, m, f in zip(views, matches, fit.fields, strict=True) if len(m[0]) >= _LEAST_STARS
    ]
    if not again:
        return {}
    fields = [replace(_field(v, m, fit.lens), attitude=f.attitude) for v, m, f in again]
    fit = fit_lens(fields, fit.lens)
    results = [(v, _result(v, m, f, fit)) for (v, m, _), f in zip(again, fit.fields, strict=True)]
    return {view.seen.path: result for view, result in results if result is not None}


def _lens_to_begin_with(view: View) -> Lens:
    _, scale, mirrored = view.seen.match.solution.sampled()
    half = float(np.hypot(*view.centre_px))
    # the sky seen from inside, +y up, has east to the left: not mirrored is parity -1 for right-handed directions
    return Lens(1 / (scale * ARCSEC), 1.0 if mirrored else -1.0, (0.0, 0.0), np.zeros((2, 2, 2)), half)


def _predicted_by_solver(view: View) -> Array:
    """Where the reference stars are by the solver's own solution, from the centre. [px]"""
    with np.errstate(invalid="ignore"):
        return np.asarray(view.seen.match.solution.pixels_from_icrs(view.reference) - view.centre_px)


def _predicted(view: View, field: FieldStars, lens: Lens) -> Array:
    return lens.pixels(view.observed(view.reference) @ field.attitude)


def _matched(view: View, places: Array) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
    """Indices of stars of the frame and of the reference that are nearest to one another."""
    none = np.zeros(0, dtype=int)
    inside = np.flatnonzero((np.abs(places) < view.centre_px + 10).all(axis=1))  # NaN is not
    if not len(inside) or not len(view.pixels):
        return none, none
    stars, known = cKDTree(view.pixels), cKDTree(places[inside])
    apart, nearest = stars.query(places[inside])
    back = known.query(view.pixels)[1]
    good = (apart < _REACH_PX) & (back[nearest] == np.arange(len(inside)))
    return nearest[good], inside[good]


def _field(view: View, match: tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]], lens: Lens) -> FieldStars:
    stars, known = match
    size = (view.seen.stars.width_px, view.seen.stars.height_px)
    grid = sensor_grid(*size)
    sky = view.observed(view.seen.match.solution.icrs_from_pixels(grid))
    attitude = best_rotations(lens.directions(grid - view.centre_px), sky[None], np.ones(len(grid)))[0]
    return FieldStars(
        pixels=view.pixels[stars],
        sky=view.observed(view.reference[known]),
        sigmas=view.sigmas[known],
        attitude=attitude,
        own_shape=np.zeros(3),
        has_own_shape=view.sky is None,
        used=np.ones(len(stars), dtype=bool),
    )


def _result(
    view: View, match: tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]], field: FieldStars, fit: LensFit
) -> Refitted | None:
    """The frame's plate; None where the solver's own solution is the better word."""
    count = int(field.used.sum())
    rest = field.residuals(fit.lens)[field.used]
    rms = float(np.sqrt(np.mean(rest**2))) if count else np.inf
    if count < _LEAST_STARS or rms > _WORST_PX:
        return None
    size = (view.seen.stars.width_px, view.seen.stars.height_px)
    grid = np.vstack([sensor_grid(*size), view.centre_px[None]])
    looked = view.icrs(_looked_at(grid - view.centre_px, field, fit.lens) @ field.attitude.T)
    solver = view.seen.match.solution.icrs_from_pixels(view.centre_px[None])
    if np.linalg.norm(looked[-1] - solver[0]) * fit.lens.focal_px > _REACH_PX:
        return None
    plate = fit_plate(grid[:-1], looked[:-1], *size)
    origins = Counter(view.origins[match[1][field.used]].tolist())
    return Refitted(plate, count, rms, tuple(origins.most_common()), fit.lens.order, len(fit.fields))


def _looked_at(pixels: Array, field: FieldStars, lens: Lens) -> Array:
    """What pixels of a frame look at, in the camera, the frame's own shape included."""
    grow, a, b = field.own_shape
    flat = (lens.flat(pixels) + pixels @ np.array([[grow + a, b], [b, grow - a]])) / lens.focal_px
    return unit(np.column_stack([flat[:, 0], lens.parity * flat[:, 1], np.ones(len(flat))]))
