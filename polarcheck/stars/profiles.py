"""Widths of small stars by fitting profiles to their pixels, many stars at once.

A star's profile is a Gaussian drawn out along an even trail, or one with wings (Moffat). Its form, that is trail and
wings, is the same for all stars of a frame; each star has its own brightness, sky, place and width. Any set of pixels
serves, so that a mosaic's green ones alone do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from polarcheck.constants import FWHM_PER_SIGMA
from polarcheck.stars.shapes import window_of
from polarcheck.vectors import Array

__all__ = [
    "HALF_PIXEL",
    "TOLD_APART",
    "Cut",
    "Form",
    "Wings",
    "fit_profiles",
    "windows_for",
    "wings_of",
]

_LARGEST = 30  # px, half of a window
_WINGS = (6.0, 4.5, 3.5, 2.9, 2.5, 2.0)  # Moffat indices tried, ever more wings
_TELL_WINGS = 24  # brightest stars that choose among them
TOLD_APART = 2.0  # widths: in a longer trail only whether there are wings can be told
_ROUNDS = 6
_REACH_FWHM = 1.8
_STRAY_PX = 1.5
_PIXEL = 1 / 12  # px^2: variance of what is integrated over one
# px^2 of variance: a little more than midway from a star sampled at the pixels' centres to one integrated over them
HALF_PIXEL = 0.58 * _PIXEL
_TINY = float(np.sqrt(np.finfo(float).eps))  # px, and part of the scale: steps of numeric slopes


@dataclass(frozen=True, slots=True)
class Form:
    """What a frame's stars have in common, or each star's own.

    Attributes
    ----------
    trail : ndarray, shape (n,)
        Length of an even trail. [px]
    angle : ndarray, shape (n,)
        Its direction, from +x towards +y. [rad]
    sigma : ndarray, shape (n,)
        A first guess of the width across, as standard deviation. [px]
    """

    trail: Array
    angle: Array
    sigma: Array

    @property
    def trail_in_widths(self) -> float:
        """Of most stars."""
        return float(np.median(self.trail / self.sigma) / FWHM_PER_SIGMA)

    def of(self, some: npt.NDArray[np.int_]) -> Form:
        """The same of some stars."""
        return Form(self.trail[some], self.angle[some], self.sigma[some])


def windows_for(form: Form) -> npt.NDArray[np.int_]:
    """Return half the window each star needs, 0 where it is too large to be fitted so. [px]"""
    wanted = form.trail / 2 + _REACH_FWHM * FWHM_PER_SIGMA * form.sigma
    return np.where(wanted > _LARGEST, 0, np.minimum(window_of(wanted), _LARGEST))


@dataclass(frozen=True, slots=True)
class Cut:
    """Stars in square windows of one size.

    Attributes
    ----------
    light : ndarray, shape (n, s, s)
        [count]
    use : ndarray, shape (n, s, s)
        Which pixels count.
    start : ndarray, shape (n, 2)
        x and y of the stars from the windows' middle, about. [px]
    form : Form
        Trails, and first guesses of the widths.
    """

    light: Array
    use: npt.NDArray[np.bool_]
    start: Array
    form: Form


@dataclass(frozen=True, slots=True)
class Wings:
    """What profile a frame's stars have.

    Attributes
    ----------
    index : float or None
        Of Moffat's profile; None for a Gaussian.
    doubt : float
        Standard error of the stars' width by the choice of that index, as a part of the width.
    """

    index: float | None
    doubt: float = 0.0


def wings_of(cut: Cut) -> Wings:
    """Return the wings that fit the brightest stars best."""
    form = cut.form
    top = np.where(cut.use, cut.light, -np.inf).max(axis=(1, 2))
    bright = np.argsort(-top)[:_TELL_WINGS]
    fit = _Fit.to(Cut(cut.light[bright], cut.use[bright], cut.start[bright], form.of(bright)))
    centre, size, _ = fit.solved(cut.start[bright], np.log(fit.form.sigma), None)
    least = np.median(fit.costs(centre, size, None))
    tried = _WINGS if form.trail_in_widths < TOLD_APART else _WINGS[len(_WINGS) // 2 :][:1]
    found = _tried(fit, centre, size, tried)
    if found.least >= least:
        return Wings(None)
    if fit.points == 1:  # a wrong width of the pixel hides some of the wings: let the stars choose it, too
        for pixel in (0.0, _PIXEL):
            again = _tried(replace(fit, pixel=pixel), centre, size, tried)
            found = again if again.least < found.least else found
    return Wings(tried[found.best], found.doubt)


@dataclass(frozen=True, slots=True)
class _Tried:
    """What each profile that was tried leaves of each star's light, shape (k, n), and the width it gives, shape (k,)."""

    costs: Array
    widths: Array

    @property
    def least(self) -> float:
        return float(np.median(self.costs, axis=1).min())

    @property
    def best(self) -> int:
        return int(np.argmin(np.median(self.costs, axis=1)))

    @property
    def doubt(self) -> float:
        """By drawing as many stars with replacement: how far the width goes with what they choose (bootstrap)."""
        count = self.costs.shape[1]
        drawn = np.random.default_rng(count).integers(count, size=(count**2, count))
        chosen = np.argmin(np.median(self.costs[:, drawn], axis=2), axis=0)
        away = self.widths[chosen] / self.widths[self.best] - 1
        return float(np.sqrt(np.mean(away**2)))


def _tried(fit: _Fit, centre: Array, size: Array, tried: tuple[float, ...]) -> _Tried:
    costs, widths, width = [], [], size + np.log(FWHM_PER_SIGMA)
    for wings in tried:  # each begins where the one before has ended
        factor = np.log(_fwhm_per_scale(wings))
        centre, size, _ = fit.solved(centre, width - factor, wings)
        costs.append(fit.costs(centre, size, wings))
        width = size + factor
        widths.append(np.exp(np.median(width)))
    return _Tried(np.array(costs), np.array(widths))


def fit_profiles(cut: Cut, wings: float | None) -> Array:
    """Fit the widths of stars.

    Parameters
    ----------
    cut : Cut
    wings : float or None
        Moffat's index, from `wings_of`.

    Returns
    -------
    ndarray, shape (n,)
        Full width at half maximum across the trail, a good half of what the pixels add taken off; NaN where none could
        be found. [px]
    """
    factor = _fwhm_per_scale(wings)
    begin = np.log(cut.form.sigma * FWHM_PER_SIGMA / factor)
    _, size, failed = _Fit.to(cut).solved(cut.start, begin, wings)
    return np.where(failed, np.nan, factor * np.exp(size))


def _fwhm_per_scale(wings: float | None) -> float:
    return float(FWHM_PER_SIGMA if wings is None else 2 * np.sqrt(2 ** (1 / wings) - 1))


def _near(x: Array, y: Array, centre: Array, form: Form) -> npt.NDArray[np.bool_]:
    along, across = _turned(x, y, centre, form.angle)
    reach = (_REACH_FWHM * FWHM_PER_SIGMA * form.sigma)[:, None]
    beyond = np.maximum(np.abs(along) - form.trail[:, None] / 2, 0.0)
    return np.asarray(beyond**2 + across**2 < reach**2)


def _turned(x: Array, y: Array, centre: Array, angle: Array) -> tuple[Array, Array]:
    """Coordinates along and across, shape (n, p)."""
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    dx, dy = x - centre[:, :1], y - centre[:, 1:]
    return c * dx + s * dy, c * dy - s * dx


@lru_cache
def _points_and_weights(count: int) -> tuple[Array, Array]:
    """Where on a trail of length 1 its points lie, and their weights (Gauss and Legendre)."""
    places, weights = np.polynomial.legendre.leggauss(count)
    return places / 2, weights / 2


@dataclass
class _Fit:
    """Least squares of brightness, sky, place and width of each star."""

    x: Array
    y: Array
    light: Array
    weight: Array
    form: Form
    pixel: float = HALF_PIXEL  # px^2 of variance

    @classmethod
    def to(cls, cut: Cut) -> _Fit:
        half = cut.light.shape[1] // 2
        span = np.arange(-half, half + 1, dtype=float)
        x, y = (grid.ravel() for grid in np.meshgrid(span, span))
        weight = _near(x, y, cut.start, cut.form) & cut.use.reshape(len(cut.use), -1)
        light = np.where(weight, cut.light.reshape(len(cut.light), -1), 0.0)
        some = weight.any(axis=0)  # of a window's corners none counts
        return cls(x[some], y[some], light[:, some], weight[:, some].astype(float), cut.form)

    def costs(self, centre: Array, size: Array, wings: float | None) -> Array:
        """What a profile leaves of each star's light, as a part of it, shape (n,)."""
        level, left = self._linear(self._with_slopes(centre, size, wings)[0])
        whole = ((self.light - level[1][:, None]) ** 2 * self.weight).sum(axis=1)
        return np.asarray(np.sqrt((left**2).sum(axis=1) / np.maximum(whole, 1e-30)))

    def solved(
        self, start: Array, begin: Array, wings: float | None
    ) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
        """Centres [px], logarithms of scales [px], and whether that failed."""
        centre, size = start.copy(), np.log(np.maximum(np.exp(begin), 0.3))
        for _ in range(_ROUNDS):
            template, slopes = self._with_slopes(centre, size, wings)
            level, left = self._linear(template)
            step, error = self._step(template, slopes, level, left)
            centre = centre + np.clip(step[:, :2], -0.5, 0.5)
            size = size + np.clip(step[:, 2], -0.4, 0.4)
            if np.quantile(np.abs(step[:, 2]) - error, 0.9) < 0:
                break
        stray = np.abs(centre - start).max(axis=1) > _STRAY_PX
        wild = (np.abs(step[:, 2]) > 0.1) | (np.abs(size - begin) > 1.5) | ~(level[0] > 0)
        return centre, size, stray | wild | (self.weight.sum(axis=1) <= 5)

    def _with_slopes(self, centre: Array, size: Array, wings: float | None) -> tuple[Array, list[Array]]:
        """Profiles of height 1, shape (n, p), and their slopes by x, y and the logarithm of the scale."""
        if wings is None:
            template = self._drawn(centre, size)
            moved = (([_TINY, 0.0], 0.0), ([0.0, _TINY], 0.0), ([0.0, 0.0], _TINY))
            return template, [
                (self._drawn(centre + at, size + wider) - template) / _TINY for at, wider in moved
            ]
        if (
            self.points > 1 or not self.pixel
        ):  # of a trail about as a Gaussian of the core's curvature is widened
            return self._winged(centre, size, wings, 2 * wings * self.pixel)
        node = float(np.sqrt(self.pixel))  # px: two samples so far from the middle have that variance
        parts = [
            self._winged(centre + [dx, dy], size, wings, 0.0) for dx in (-node, node) for dy in (-node, node)
        ]
        slopes = [np.mean(slope, axis=0) for slope in zip(*(slopes for _, slopes in parts), strict=True)]
        return np.asarray(np.mean([star for star, _ in parts], axis=0)), slopes

    @property
    def points(self) -> int:
        """How many points of a trail stand for all of it."""
        part = self.form.trail_in_widths
        return int(np.ceil(part)) + 2 if part else 1

    def _winged(self, centre: Array, size: Array, wings: float, more: float) -> tuple[Array, list[Array]]:
        """A Moffat profile at the points of its trail, its squared scale larger by `more`, with its slopes."""
        scale = np.exp(2 * size)[:, None]
        square, angle = scale + more, self.form.angle[:, None]
        along, across = _turned(self.x, self.y, centre, self.form.angle)
        round_part = 1 + across**2 / square
        star, by_along, by_size = np.zeros_like(along), np.zeros_like(along), np.zeros_like(along)
        by_across = np.zeros_like(along)
        for place, weight in zip(*_points_and_weights(self.points), strict=True):
            away = along - place * self.form.trail[:, None]
            inside = round_part + away**2 / square
            part = weight * np.exp(-wings * np.log(inside))
            star += part
            part *= 2 * wings / inside / square
            by_along += part * away
            by_across += part
            by_size += part * (inside - 1)
        by_across *= across
        c, s = np.cos(angle), np.sin(angle)
        return star, [c * by_along - s * by_across, s * by_along + c * by_across, scale * by_size]

    def _drawn(self, centre: Array, size: Array) -> Array:
        """A Gaussian drawn along the trail: a difference of error functions."""
        from scipy.special import erf

        along, across = _turned(self.x, self.y, centre, self.form.angle)
        scale = np.sqrt(2 * (np.exp(2 * size) + self.pixel))[:, None]
        end = np.maximum(self.form.trail[:, None] / 2, 1e-3 * scale)
        drawn = (erf((along + end) / scale) - erf((along - end) / scale)) / (2 * erf(end / scale))
        return np.asarray(np.exp(-((across / scale) ** 2)) * drawn)

    def _linear(self, template: Array) -> tuple[Array, Array]:
        """Brightness and sky, shape (2, n), and what they leave, shape (n, p)."""
        w = self.weight
        count, first, second = w.sum(1), (w * template).sum(1), (w * template**2).sum(1)
        light, both = (w * self.light).sum(1), (w * self.light * template).sum(1)
        size = np.maximum(count * second - first**2, 1e-12)
        high, sky = (count * both - first * light) / size, (second * light - first * both) / size
        return np.stack([high, sky]), w * (self.light - high[:, None] * template - sky[:, None])

    def _step(self, template: Array, slopes: list[Array], level: Array, left: Array) -> tuple[Array, Array]:
        """One step of Gauss and Newton for place and width, and the width's standard error."""
        design = [level[0][:, None] * slope for slope in slopes]
        terms = np.stack([*design, template, np.ones_like(template)], axis=1) * self.weight[:, None]
        scale = np.sqrt((terms**2).sum(axis=2)) + 1e-30
        terms = terms / scale[:, :, None]
        normal = terms @ terms.swapaxes(1, 2) + 1e-6 * np.eye(5)
        right = terms @ left[:, :, None]
        inverse = np.linalg.inv(normal)
        step = (inverse @ right)[..., 0] / scale
        spare = np.maximum(self.weight.sum(1) - 5, 1)
        variance = (left**2).sum(1) / spare
        return step, np.sqrt(np.maximum(inverse[:, 2, 2], 0.0) * variance) / scale[:, 2]
