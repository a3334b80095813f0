"""A camera under the sky: one lens for all its frames, one attitude for each, by least squares over their stars.

Numbers only: no file, no clock, no catalogue.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from polarcheck.frames import HIGHEST_ORDER
from polarcheck.vectors import Array, rotation_matrix, unit

__all__ = ["FieldStars", "Lens", "LensFit", "fit_lens"]

_STARS_PER_TERM = 4
_ROUNDS = 6
_SETTLED = 0.01  # of the noise: once the same stars count, a further step moves a place by far less
_OUTLYING = 4.0
_LEAST_STARS = 4
_MAD = 1.4826


@dataclass(frozen=True, slots=True)
class Lens:
    """What a camera makes of directions.

    Attributes
    ----------
    focal_px : float
        Focal length. [px]
    parity : float
        1 where the sky is seen as from inside, with +x to the right and +y up; -1 where it is mirrored.
    shear : tuple of float
        Two symmetric linear terms: of unequal pixels, and of pixels that are no rectangles.
    terms : ndarray, shape (2, k + 1, k + 1)
        Coefficients of u^i v^j that are added to the pixels u, v, in units of `size_px`. [px]
    size_px : float
        Half of the sensor's diagonal. [px]
    """

    focal_px: float
    parity: float
    shear: tuple[float, float]
    terms: Array
    size_px: float

    @property
    def order(self) -> int:
        """Of the distortion; 1 is none."""
        return int(self.terms.shape[-1] - 1)

    def flat(self, pixels: Array) -> Array:
        """Take the distortion off pixels from the centre, shape (n, 2). [px]"""
        a, b = self.shear
        linear = pixels @ np.array([[1 + a, b], [b, 1 - a]])
        return np.asarray(linear + _polynomial(pixels / self.size_px, self.terms))

    def directions(self, pixels: Array) -> Array:
        """Return what pixels from the centre, shape (n, 2), look at: unit vectors in the camera, shape (n, 3)."""
        flat = self.flat(pixels) / self.focal_px
        return unit(np.column_stack([flat[:, 0], self.parity * flat[:, 1], np.ones(len(flat))]))

    def pixels(self, directions: Array) -> Array:
        """Return where directions in the camera, shape (n, 3), fall, from the centre, shape (n, 2); NaN behind it."""
        with np.errstate(divide="ignore", invalid="ignore"):
            plane = np.where(directions[:, 2:] > 0.05, directions[:, :2] / directions[:, 2:], np.nan)
        flat = self.focal_px * plane * [1.0, self.parity]
        found = flat
        for _ in range(12):
            found = found + flat - self.flat(np.clip(found, -3 * self.size_px, 3 * self.size_px))
        return np.asarray(found)


def _polynomial(places: Array, terms: Array) -> Array:
    order = terms.shape[-1] - 1
    u, v = (places[:, k : k + 1] ** np.arange(order + 1) for k in (0, 1))
    return np.asarray(np.einsum("ni,nj,kij->nk", u, v, terms))


@dataclass(frozen=True, slots=True)
class FieldStars:
    """Matched stars of one frame.

    Attributes
    ----------
    pixels : ndarray, shape (n, 2)
        From the sensor's centre. [px]
    sky : ndarray, shape (n, 3)
        Where these stars are: unit vectors.
    sigmas : ndarray, shape (n,)
        How well that is known. [rad]
    attitude : ndarray, shape (3, 3)
        Rotation from the camera to the sky.
    own_shape : ndarray, shape (3,)
        Scale and two shears that this frame has beside the lens; zero where `has_own_shape` is not set.
    has_own_shape : bool
        Whether it may: where the sky's own shear, by refraction, could not be taken off.
    used : ndarray of bool, shape (n,)
        Which stars count.
    """

    pixels: Array
    sky: Array
    sigmas: Array
    attitude: Array
    own_shape: Array
    has_own_shape: bool
    used: npt.NDArray[np.bool_]

    def residuals(self, lens: Lens) -> Array:
        """Return flat pixels minus where the stars should be, shape (n, 2). [px]"""
        return lens.flat(self.pixels) + _shaped(self.pixels, self.own_shape) - self.flat_places(lens)

    def flat_places(self, lens: Lens) -> Array:
        """Return where the stars of a `lens` without distortion would be, shape (n, 2). [px]"""
        seen = self.sky @ self.attitude
        return np.asarray(lens.focal_px * seen[:, :2] / seen[:, 2:] * [1.0, lens.parity])


def _shaped(pixels: Array, shape: Array) -> Array:
    grow, a, b = shape
    return np.asarray(pixels @ np.array([[grow + a, b], [b, grow - a]]))


@dataclass(frozen=True, slots=True)
class LensFit:
    """One lens and the attitudes of its frames.

    Attributes
    ----------
    lens : Lens
    fields : tuple of FieldStars
        With their attitudes fitted.
    noise_px : float
        Of a star's place, per coordinate, beyond what the catalogue does not know. [px]
    """

    lens: Lens
    fields: tuple[FieldStars, ...]
    noise_px: float


def fit_lens(fields: Sequence[FieldStars], lens: Lens) -> LensFit:
    """Fit one lens and each frame's attitude to matched stars; stars that do not fit are left out.

    Parameters
    ----------
    fields : sequence of FieldStars
        With attitudes to begin with, right to a few pixels.
    lens : Lens
        To begin with.

    Returns
    -------
    LensFit
        Of the order of distortion from 1 (none) to 5 that the stars ask for, by the Bayesian information criterion.
    """
    stars = sum(int(field.used.sum()) for field in fields)
    fits: list[LensFit] = []
    for order in range(1, HIGHEST_ORDER + 1):
        if fits and stars < _STARS_PER_TERM * _shared_count(order) / 2:
            break
        fits.append(_fitted(fields, _of_order(lens, order)))
        best = _best(fits)
        if order > 3 and best is not fits[-1]:
            break
    return best


def _best(fits: list[LensFit]) -> LensFit:
    """By a robust Bayesian information criterion: outlying stars cost the same in every model."""
    noise = min(fit.noise_px for fit in fits)
    return min(fits, key=lambda fit: _criterion(fit, noise))


def _of_order(lens: Lens, order: int) -> Lens:
    terms = np.zeros((2, order + 1, order + 1))
    keep = min(order, lens.order) + 1
    terms[:, :keep, :keep] = lens.terms[:, :keep, :keep]
    return replace(lens, terms=terms)


def _powers(order: int) -> list[tuple[int, int]]:
    return [(i, j) for i in range(order + 1) for j in range(order + 1) if 2 <= i + j <= order]


def _shared_count(order: int) -> int:
    return 3 + 2 * len(_powers(order))


def _criterion(fit: LensFit, noise_px: float) -> float:
    parts = [_deviations(field, fit.lens, noise_px) for field in fit.fields]
    squares = np.minimum(np.concatenate(parts).ravel() ** 2, 25.0)
    number = len(squares)
    return float(
        number * np.log(squares.mean() + 1e-6) + _shared_count(fit.lens.order) * np.log(max(number, 2))
    )


def _deviations(field: FieldStars, lens: Lens, noise_px: float) -> Array:
    """Residuals in units of what is expected of them, shape (n, 2)."""
    sigma = np.sqrt(noise_px**2 + (field.sigmas * lens.focal_px) ** 2)
    return np.asarray(field.residuals(lens) / sigma[:, None])


def _fitted(fields: Sequence[FieldStars], lens: Lens) -> LensFit:
    current = list(fields)
    noise = _noise(current, lens)
    for _ in range(_ROUNDS):
        lens, current = _step(current, lens, noise)
        before, noise = noise, _noise(current, lens)
        chosen = [_chosen(field, lens, noise) for field in current]
        same = all(np.array_equal(a.used, b.used) for a, b in zip(chosen, current, strict=True))
        current = chosen
        if same and np.isclose(noise, before, rtol=_SETTLED):
            break
    return LensFit(lens, tuple(current), noise)


def _noise(fields: Sequence[FieldStars], lens: Lens) -> float:
    """Robust scatter of what the catalogues' own errors leave. [px]"""
    rest, known = [], []
    for field in fields:
        rest.append(np.abs(field.residuals(lens)[field.used]).ravel())
        known.append(np.repeat((field.sigmas[field.used] * lens.focal_px) ** 2, 2))
    scatter = _MAD * float(np.median(np.concatenate(rest)))
    return float(np.sqrt(max(scatter**2 - float(np.median(np.concatenate(known))), 0.01**2)))


def _chosen(field: FieldStars, lens: Lens, noise: float) -> FieldStars:
    """Leave out stars that do not fit; of few, the best stay."""
    off = np.hypot(*_deviations(field, lens, noise).T)
    used = off < _OUTLYING * 1.2
    if used.sum() < min(_LEAST_STARS, len(off)):
        used = np.zeros(len(off), dtype=bool)
        used[np.argsort(off)[:_LEAST_STARS]] = True
    return replace(field, used=used)


def _step(fields: Sequence[FieldStars], lens: Lens, noise: float) -> tuple[Lens, list[FieldStars]]:
    """One Gauss-Newton step: each frame's own unknowns are eliminated, the lens is solved, then they are."""
    powers = _powers(lens.order)
    count = 3 + 2 * len(powers)
    whole, right = np.zeros((count, count)), np.zeros(count)
    parts = []
    for field in fields:
        shared, own, rest = _equations(field, lens, noise, powers)
        cross, inner = shared.T @ own, own.T @ own
        pull = own.T @ rest
        both = np.column_stack([cross.T, pull])
        solved = _least_squares(inner, both)
        whole += shared.T @ shared - cross @ solved[:, :-1]
        right += shared.T @ rest - cross @ solved[:, -1]
        parts.append(solved)
    # where all frames have shapes of their own, these take scale and shear for the lens
    free = slice(3 if all(field.has_own_shape for field in fields) else 0, count)
    step = np.zeros(count)
    if len(step[free]):
        step[free] = _least_squares(whole[free, free], right[free])
    moved = [_moved(f, s[:, -1] - s[:, :-1] @ step) for f, s in zip(fields, parts, strict=True)]
    return _changed(lens, step, powers), moved


def _least_squares(normal: Array, right: Array) -> Array:
    """Solve normal equations; what they do not tell stays as it is."""
    scale = np.sqrt(np.maximum(np.diag(normal), np.finfo(float).tiny))
    solved = np.linalg.lstsq(normal / np.outer(scale, scale), (right.T / scale).T, rcond=None)[0]
    return np.asarray((solved.T / scale).T)


def _equations(
    field: FieldStars, lens: Lens, noise: float, powers: list[tuple[int, int]]
) -> tuple[Array, Array, Array]:
    """Weighted derivatives by the lens and by the frame's own unknowns, and residuals; two rows a star."""
    pixels, used = field.pixels[field.used], field.used
    seen = field.sky[used] @ field.attitude
    flat = field.flat_places(lens)[used]
    weight = 1 / np.sqrt(noise**2 + (field.sigmas[used] * lens.focal_px) ** 2)
    sheared = np.stack([pixels * [1, -1], pixels[:, ::-1]], axis=-1)
    shared = np.zeros((len(pixels), 2, 3 + 2 * len(powers)))
    shared[:, :, 0], shared[:, :, 1:3] = -flat, sheared
    for axis, columns in enumerate(np.split(np.arange(3, shared.shape[2]), 2)):
        shared[:, axis, columns] = _monomials(pixels / lens.size_px, powers)
    own = _turns(seen, lens)
    if field.has_own_shape:
        own = np.concatenate([own, pixels[:, :, None], sheared], axis=2)
    rest = -field.residuals(lens)[used] * weight[:, None]
    scaled = [columns * weight[:, None, None] for columns in (shared, own)]
    return scaled[0].reshape(-1, shared.shape[2]), scaled[1].reshape(-1, own.shape[2]), rest.ravel()


def _monomials(places: Array, powers: list[tuple[int, int]]) -> Array:
    i, j = np.array(powers, dtype=int).reshape(-1, 2).T
    return np.asarray(places[:, :1] ** i * places[:, 1:] ** j)


def _turns(seen: Array, lens: Lens) -> Array:
    """Derivatives of the residuals by small turns of the camera about its own axes, shape (n, 2, 3)."""
    x, y, z = seen.T
    zero = np.zeros(len(x))
    # a turn d of the camera moves what it sees by seen x d
    moves = ((zero, z, -y), (-z, zero, x), (y, -x, zero))
    found = []
    for dx, dy, dz in moves:
        across = np.stack([(dx - x / z * dz) / z, lens.parity * (dy - y / z * dz) / z], axis=-1)
        found.append(-lens.focal_px * across)
    return np.stack(found, axis=-1)


def _moved(field: FieldStars, own: Array) -> FieldStars:
    angle = float(np.linalg.norm(own[:3]))
    turn = np.eye(3) if angle == 0 else rotation_matrix(own[:3] / angle, angle)
    shape = field.own_shape + own[3:] if field.has_own_shape else field.own_shape
    return replace(field, attitude=field.attitude @ turn, own_shape=shape)


def _changed(lens: Lens, step: Array, powers: list[tuple[int, int]]) -> Lens:
    terms = lens.terms.copy()
    for axis, values in enumerate(np.split(step[3:], 2)):
        for (i, j), value in zip(powers, values, strict=True):
            terms[axis, i, j] += value
    a, b = lens.shear
    return replace(
        lens,
        focal_px=lens.focal_px * (1 + float(step[0])),
        shear=(a + float(step[1]), b + float(step[2])),
        terms=terms,
    )
