"""Widths of small stars by fitting profiles to their pixels, many stars at once.

A star's profile is a Gaussian drawn out along an even trail, or one with wings (Moffat). Its form, that is trail and
wings, is the same for all stars of a frame; each star has its own brightness, sky, place and width. Any set of pixels
serves, so that a mosaic's green ones alone do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from polarcheck.vectors import Array

__all__ = ["Form", "fit_profiles", "windows_for"]

_STEPS = (4, 5, 6, 8, 10, 13, 17, 22, 30)  # px, half of a window
_WINGS: tuple[float | None, ...] = (None, 6.0, 3.5, 2.5, 2.0)  # Moffat indices tried; None: a Gaussian
_TELL_WINGS = 80  # brightest stars that choose among them
_ROUNDS, _LAST_STEP = 12, 2e-3
_REACH_FWHM, _REACH_PX = 1.6, 1.0
_FWHM_PER_SIGMA = 2 * np.sqrt(2 * np.log(2))
# px^2 of variance: a little more than midway from a star sampled at the pixels' centres to one integrated over them
_HALF_PIXEL = 0.58 / 12
_NODES = float(np.sqrt(_HALF_PIXEL))  # px: two samples so far from the middle have that variance
_LEAST_PIXELS = 8  # five numbers are fitted
_TRAILED = 0.6  # of the width: from here on a trail is drawn as one, else as an ellipse


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

    def of(self, some: npt.NDArray[np.int_]) -> Form:
        """The same of some stars."""
        return Form(self.trail[some], self.angle[some], self.sigma[some])


def windows_for(form: Form) -> npt.NDArray[np.int_]:
    """Return half the window each star needs, 0 where it is too large to be fitted so. [px]"""
    wanted = form.trail / 2 + _REACH_FWHM * _FWHM_PER_SIGMA * form.sigma + _REACH_PX
    steps = np.array([*_STEPS, 0])
    return np.asarray(steps[np.searchsorted(_STEPS, wanted)])


def fit_profiles(light: Array, use: npt.NDArray[np.bool_], start: Array, form: Form) -> tuple[Array, Array]:
    """Fit the widths of stars in square windows of one size.

    Parameters
    ----------
    light : ndarray, shape (n, s, s)
        [count]
    use : ndarray, shape (n, s, s)
        Which pixels count.
    start : ndarray, shape (n, 2)
        x and y from the window's middle, about. [px]
    form : Form
        Trails, and first guesses of the widths.

    Returns
    -------
    ndarray, shape (n,)
        Full width at half maximum across the trail, half of what the pixels add taken off; NaN where none could be
        found. [px]
    ndarray, shape (n,)
        Its standard error by the residuals. [px]
    """
    half = light.shape[1] // 2
    span = np.arange(-half, half + 1, dtype=float)
    x, y = (grid.ravel() for grid in np.meshgrid(span, span))
    weight = _near(x, y, start, form) & use.reshape(len(use), -1)
    fit = _Fit(x, y, np.where(weight, light.reshape(len(light), -1), 0.0), weight.astype(float), form)
    return fit.widths(start)


def _near(x: Array, y: Array, centre: Array, form: Form) -> npt.NDArray[np.bool_]:
    along, across = _turned(x, y, centre, form.angle)
    beyond = np.maximum(np.abs(along) - form.trail[:, None] / 2, 0.0)
    reach = _REACH_FWHM * _FWHM_PER_SIGMA * form.sigma + _REACH_PX
    return np.asarray(beyond**2 + across**2 < reach[:, None] ** 2)


def _turned(x: Array, y: Array, centre: Array, angle: Array) -> tuple[Array, Array]:
    """Coordinates along and across, shape (n, p)."""
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    dx, dy = x - centre[:, :1], y - centre[:, 1:]
    return c * dx + s * dy, c * dy - s * dx


@dataclass
class _Fit:
    """Least squares of brightness, sky, place and width of each star."""

    x: Array
    y: Array
    light: Array
    weight: Array
    form: Form

    def widths(self, start: Array) -> tuple[Array, Array]:
        wings = self._wings(start)
        centre, scale, error = self.solved(start, wings)
        factor = _FWHM_PER_SIGMA if wings is None else 2 * np.sqrt(2 ** (1 / wings) - 1)
        return factor * scale, factor * scale * error

    def some(self, index: npt.NDArray[np.int_]) -> _Fit:
        return _Fit(self.x, self.y, self.light[index], self.weight[index], self.form.of(index))

    def _wings(self, start: Array) -> float | None:
        """The Moffat index that fits the brightest stars best; None for a Gaussian, and for trails."""
        if np.median(self.form.trail) > _TRAILED * _FWHM_PER_SIGMA * np.median(self.form.sigma):
            return None
        bright = np.argsort(-(self.light * self.weight).max(axis=1))[:_TELL_WINGS]
        part, begin = self.some(bright), start[bright]
        costs = [part._cost(begin, wings) for wings in _WINGS]
        return _WINGS[int(np.argmin(costs))]

    def _cost(self, start: Array, wings: float | None) -> float:
        """Median over the stars of what a profile leaves of their light."""
        centre, scale, _ = self.solved(start, wings)
        template = self._template(centre, np.log(np.where(np.isfinite(scale), scale, 1.0)), wings)
        level, _ = self._linear(template)
        left = (self.light - level[0][:, None] * template - level[1][:, None]) * self.weight
        part = np.sqrt((left**2).sum(axis=1)) / np.sqrt(
            ((self.light - level[1][:, None]) ** 2 * self.weight).sum(axis=1)
        )
        return float(np.median(part))

    def solved(self, start: Array, wings: float | None) -> tuple[Array, Array, Array]:
        """Centres, scales [px] and the scales' relative standard errors; NaN where there is none."""
        centre, size = (
            start.copy(),
            np.log(np.maximum(self.form.sigma * (1.0 if wings is None else 1.8), 0.3)),
        )
        begin = size.copy()
        error = np.full(len(size), np.nan)
        for _ in range(_ROUNDS):
            template = self._template(centre, size, wings)
            level, left = self._linear(template)
            step, error = self._step(centre, size, template, level, left, wings)
            centre = centre + np.clip(step[:, :2], -0.5, 0.5)
            size = size + np.clip(step[:, 2], -0.4, 0.4)
            if np.quantile(np.abs(step[:, 2]), 0.9) < _LAST_STEP:
                break
        stray = np.abs(centre - start).max(axis=1) > 1.5
        wild = (np.abs(step[:, 2]) > 0.1) | (np.abs(size - begin) > 1.5) | ~(level[0] > 0)
        few = self.weight.sum(axis=1) < _LEAST_PIXELS
        scale = np.where(stray | wild | few, np.nan, np.exp(size))
        return centre, scale, error

    def _template(self, centre: Array, size: Array, wings: float | None) -> Array:
        """Profiles of height 1, shape (n, p)."""
        if wings is None:
            return self._drawn(centre, np.exp(2 * size) + _HALF_PIXEL)
        parts = [
            self._winged(centre + [dx, dy], np.exp(2 * size), wings)
            for dx in (-_NODES, _NODES)
            for dy in (-_NODES, _NODES)
        ]
        return np.asarray(np.mean(parts, axis=0))

    def _winged(self, centre: Array, square: Array, wings: float) -> Array:
        along, across = _turned(self.x, self.y, centre, self.form.angle)
        ratio = 1 / (1 + self.form.trail**2 / 12 / (self.form.sigma**2 + 2 * _HALF_PIXEL))
        return np.asarray((1 + (across**2 + ratio[:, None] * along**2) / square[:, None]) ** -wings)

    def _drawn(self, centre: Array, square: Array) -> Array:
        """A Gaussian drawn along the trail: a difference of error functions."""
        from scipy.special import erf

        along, across = _turned(self.x, self.y, centre, self.form.angle)
        profile = np.exp(across**2 / (-2 * square[:, None]))
        scale = np.sqrt(2 * square)[:, None]
        end = np.maximum(self.form.trail[:, None] / 2, 1e-3 * scale)
        drawn = (erf((along + end) / scale) - erf((along - end) / scale)) / (2 * erf(end / scale))
        return np.asarray(profile * drawn)

    def _linear(self, template: Array) -> tuple[Array, Array]:
        """Brightness and sky, shape (2, n), and what they leave, shape (n, p)."""
        w = self.weight
        count, first, second = w.sum(1), (w * template).sum(1), (w * template**2).sum(1)
        light, both = (w * self.light).sum(1), (w * self.light * template).sum(1)
        size = np.maximum(count * second - first**2, 1e-12)
        high, sky = (count * both - first * light) / size, (second * light - first * both) / size
        return np.stack([high, sky]), w * (self.light - high[:, None] * template - sky[:, None])

    def _step(
        self, centre: Array, size: Array, template: Array, level: Array, left: Array, wings: float | None
    ) -> tuple[Array, Array]:
        """One step of Gauss and Newton for place and width, and the width's standard error."""
        tiny = 1e-4
        slopes = [
            self._template(centre + [tiny, 0.0], size, wings),
            self._template(centre + [0.0, tiny], size, wings),
        ]
        slopes.append(self._template(centre, size + tiny, wings))
        design = [level[0][:, None] * (moved - template) / tiny for moved in slopes]
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
