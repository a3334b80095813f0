"""The mark on the sensor: which star must go from which pixel to which while the knobs are turned.

The camera moves with the mount. If the knobs turn the mount by K, a star seen in the direction o appears where,
before, the direction K^T o appeared. So its new pixel is what the frame's own solution says of K^T o: exact
for any distortion, any mirror and any camera angle. The knobs count as turned at the moment of the frame, on a
level base; with tracking on the star then stays there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN
from polarcheck.frames import Solution
from polarcheck.knobs import Move, knob_rotation
from polarcheck.sky import Sky
from polarcheck.vectors import Array, angle_between

__all__ = ["StarTarget", "View", "choose_star"]

_STEPS = 64  # of each knob's move, between which the star's way is taken as straight
_SURE_PX = 0.05  # an inverted solution that misses its own direction by more has not converged


@dataclass(frozen=True, slots=True)
class View:
    """What a frame's pixels look at, at its mid-exposure.

    Attributes
    ----------
    solution : Solution
        The frame's plate solution, distortion included.
    utc : tuple of float
        Mid-exposure, two-part UTC Julian date.
    sky : Sky
        Where, and the air there.
    """

    solution: Solution
    utc: tuple[float, float]
    sky: Sky

    def observed(self, pixels: Array) -> Array:
        """Carry 0-based pixels, shape (n, 2), to East-North-Up directions, shape (n, 3)."""
        sky = self.solution.icrs_from_pixels(pixels)
        seen = self.sky.observed(sky[None], np.array([self.utc]))
        return np.asarray(seen[0])

    def pixels(self, observed: Array) -> Array:
        """Carry East-North-Up directions, shape (n, 3), to 0-based pixels, shape (n, 2).

        NaN where the solution gives none: behind the camera, or so far off the sensor that its distortion
        cannot be inverted.
        """
        sky = self.sky.icrs(observed[None], np.array([self.utc]))[0]
        pixels = self.solution.pixels_from_icrs(sky)
        known = np.asarray(np.isfinite(pixels).all(axis=-1))
        back = self.solution.icrs_from_pixels(np.where(known[:, None], pixels, 0.0))
        with np.errstate(invalid="ignore"):
            known = np.asarray(known & (angle_between(back, sky) < _SURE_PX * self._pixel))
        return np.asarray(np.where(known[:, None], pixels, np.nan))

    def contains(self, pixels: Array, margin: float = 0.0) -> Array:
        """Return which pixels, shape (..., 2), lie on the sensor, at least `margin` inside its edge. [px]"""
        size = np.array([self.solution.width_px, self.solution.height_px])
        with np.errstate(invalid="ignore"):
            inside = (pixels >= margin - 0.5) & (pixels <= size - 0.5 - margin)
        return np.asarray(inside.all(axis=-1))

    @property
    def _pixel(self) -> float:
        """Angle of a pixel in the middle of the sensor. [rad]"""
        middle = np.array([[self.solution.width_px - 1, self.solution.height_px - 1]]) / 2
        right, here = self.solution.icrs_from_pixels(np.vstack([middle + [1.0, 0.0], middle]))
        return float(angle_between(right, here))


@dataclass(frozen=True, slots=True)
class StarTarget:
    """Where one star of the last used frame must end up on the sensor.

    Attributes
    ----------
    file : str
        The frame, printable.
    width_px, height_px : int
        Size of its image. [px]
    knobs : tuple of str
        In the order in which they are turned.
    from_px : tuple of float
        Where the star is: 0-based pixel centres.
    after_first_px, to_px : tuple of float or None
        Where it must be after the first knob's move and after both; None where that is off the sensor.
    part_on_sensor : tuple of float
        Share of each knob's move, 0 to 1, up to which the star stays on the sensor without a break.
    part_px : tuple of float
        Where it is then.
    reason : str or None
        What is wrong with it, where it does not stay on the sensor.
    way_px : ndarray, shape (n, 2)
        Pixels that it passes, one after the other; NaN where the solution gives none.
    """

    file: str
    width_px: int
    height_px: int
    knobs: tuple[str, str]
    from_px: tuple[float, float]
    after_first_px: tuple[float, float] | None
    to_px: tuple[float, float] | None
    part_on_sensor: tuple[float, float]
    part_px: tuple[float, float]
    reason: str | None
    way_px: Array


def choose_star(
    view: View, candidates: Array, moves: Sequence[Move], axis: Array, file: str, margin: float
) -> StarTarget:
    """Choose the star to watch, and follow it over both moves.

    Parameters
    ----------
    view : View
        The last used frame.
    candidates : ndarray, shape (n, 2)
        0-based pixels of stars, n at least 1, the ones that are easiest to watch first.
    moves : sequence of Move
        Of both knobs, in the order in which they are made.
    axis : ndarray, shape (3,)
        East-North-Up, before the moves.
    file : str
        Name of the frame, printable.
    margin : float
        Distance from the sensor's edge that the star should keep. [px]

    Returns
    -------
    StarTarget
        Of the first candidate that keeps the margin all the way. Without one: of the first that is on the
        sensor in the end; else of the one that stays for the greatest part.
    """
    ways = _ways(view, candidates, moves, axis)
    inside = view.contains(ways, margin)
    stays, ends = inside.all(axis=1), view.contains(ways[:, -1], margin)
    shares = np.argmin(np.column_stack([inside, np.zeros(len(ways), bool)]), axis=1)  # steps before it leaves
    best = int(np.argmax(stays if stays.any() else ends if ends.any() else shares))
    return _target(view, ways[best], moves, file, margin)


def _ways(view: View, candidates: Array, moves: Sequence[Move], axis: Array) -> Array:
    """Pixels of each candidate at each step, shape (n, 2 * _STEPS + 1, 2)."""
    shares = np.linspace(0, 1, _STEPS + 1)
    turns = [_rotation(axis, moves, (share, 0.0)) for share in shares]
    turns += [_rotation(axis, moves, (1.0, share)) for share in shares[1:]]
    seen = np.einsum("mji,nj->nmi", np.array(turns), view.observed(np.asarray(candidates, dtype=float)))
    ways = view.pixels(seen.reshape(-1, 3)).reshape(len(candidates), len(turns), 2)
    ways[:, 0] = candidates
    return np.asarray(ways)


def _rotation(axis: Array, moves: Sequence[Move], shares: tuple[float, float]) -> Array:
    """What shares of both moves do to the mount.

    The swing about the vertical carries the altitude knob's level line along, so the order of the moves does not
    matter for what both do together.
    """
    angles = {
        move.knob: 0.0 if move.is_idle else move.move_arcmin * ARCMIN * share
        for move, share in zip(moves, shares, strict=True)
    }
    return knob_rotation(axis, angles["azimuth"], angles["altitude"])


def _target(view: View, way: Array, moves: Sequence[Move], file: str, margin: float) -> StarTarget:
    knobs = (moves[0].knob, moves[1].knob)
    end = _leaves(view, way, margin)
    first, last = (min(end / _STEPS, 1.0), max(end / _STEPS - 1.0, 0.0))
    return StarTarget(
        file=file,
        width_px=view.solution.width_px,
        height_px=view.solution.height_px,
        knobs=knobs,
        from_px=_pair(way[0]),
        after_first_px=_pair(way[_STEPS]) if view.contains(way[_STEPS]) else None,
        to_px=_pair(way[-1]) if view.contains(way[-1]) else None,
        part_on_sensor=(first, last),
        part_px=_pair(_at(way, end)),
        reason=None if end >= 2 * _STEPS else _reason(view, way, moves, (first, last)),
        way_px=way,
    )


def _leaves(view: View, way: Array, margin: float) -> float:
    """Step, with its fraction, at which a way first leaves the sensor but for a margin; the last one if never."""
    margin = margin if view.contains(way[0], margin) else 0.0
    inside = view.contains(way, margin)
    if inside.all():
        return len(way) - 1
    out = int(np.argmin(inside))
    before, after = way[out - 1], way[out]
    if not np.isfinite(after).all():
        return out - 1
    size = np.array([view.solution.width_px, view.solution.height_px])
    step = after - before
    edge = np.where(step > 0, size - 0.5 - margin, margin - 0.5)
    reach = np.divide(edge - before, step, out=np.ones(2), where=step != 0)
    return out - 1 + float(np.clip(reach.min(), 0.0, 1.0))


def _at(way: Array, step: float) -> Array:
    whole = min(int(step), len(way) - 2)
    part = step - whole
    return np.asarray(way[whole] + part * (way[whole + 1] - way[whole]) if part else way[whole])


def _reason(view: View, way: Array, moves: Sequence[Move], shares: tuple[float, float]) -> str:
    number = 0 if shares[0] < 1 else 1
    move, share = moves[number], shares[number]
    turns = ""
    if move.turns is not None:
        turns = f" ({move.take_up_turns + share * (move.turns - move.take_up_turns):.2f} turns)"
    part = f"{move.knob} by {share * 100:.0f} % of its move{turns}"
    part = f"Turn {part}" if number == 0 else f"Make the whole {moves[0].knob} move, then turn {part}"
    if view.contains(way[-1]):
        return f"the star leaves the sensor and comes back. {part}: then it is at the edge; go on to the end unseen"
    return f"the star would leave the sensor. {part}: then it is at the edge; take a frame there and go on from it"


def _pair(pixel: Array) -> tuple[float, float]:
    return float(pixel[0]), float(pixel[1])
