"""Whether the mount stood still from one frame to the next, as the field tells; and whether the camera runs.

A pointing is known to a second of arc, an axis from one frame to a minute at best. So a hand on a knob shows first by
the field that moves against the stars, and a turn is over when it does so no more.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCMIN, ARCSEC, DEGREE, SIDEREAL_RATE
from polarcheck.frames import SENSOR_WEIGHTS, Frame, sensor_of
from polarcheck.times import seconds_between
from polarcheck.vectors import best_rotations, cross, rotation_vector, unit

__all__ = ["Standing"]

_SKY_ARCSEC_PER_S = SIDEREAL_RATE / ARCSEC
_LEAST_ARCSEC, _LEAST_PX = 6.0, 1.0  # by which pointings differ from frame to frame
_WORM_ARCSEC_PER_S = 0.6  # along right ascension: half a minute of arc in 5 min; common practice, no source
_SETTLING_ARCSEC_PER_S = 0.05  # across it
_UNKNOWN_AXIS_DEG = 5.0  # from the pole, before anything is known
_ROLL_PX = 1.0  # at the stars' usual distance from the middle
_SLEWED_DEG = 1.0  # about the pole, that no knob makes a field turn
_LOOKED_BACK = 3  # frames, among which two may be solved wrongly
_PAIR_S = 300.0  # between frames that can tell that nothing moved
_HANDS_S = 10.0  # without an exposure, in which hands could make a turn; common practice, no source
_SHORT_GAPS = 2  # in a row: one alone may be a clock that was set back by about the time between two frames
# cadences and seconds without a frame, after which the camera stopped
_RUNNING_MISSES, _RUNNING_S = 4.0, 20.0
_KEPT = 12  # frames of a run


@dataclass(frozen=True, slots=True)
class _Link:
    """A frame, and the frames with which it stands."""

    frame: Frame
    run: tuple[Frame, ...]
    since: tuple[float, float]


class Standing:
    """The last frames, in order of time.

    They are compared when somebody asks: of the frames of a target nobody does.

    Attributes
    ----------
    is_running : bool
        Whether the camera takes frame after frame, so that turns fall into exposures.
    """

    def __init__(self) -> None:
        self._linked: deque[_Link] = deque(maxlen=_LOOKED_BACK)
        self._waiting: deque[tuple[Frame, float]] = deque(
            maxlen=_KEPT + _LOOKED_BACK
        )  # all that a run can hold
        self._last: tuple[tuple[float, float], float] | None = None
        self._cadence_s, self._short_gaps = 0.0, 0
        self._is_slewed = False
        self.is_running = False

    @property
    def is_slewed(self) -> bool:
        """Whether the last frame that stood nowhere was turned in right ascension, not by a knob."""
        return bool(self._links) and self._is_slewed

    @property
    def run(self) -> tuple[Frame, ...]:
        """The last frame, and those before it since the mount moved; at most some."""
        return self._links[-1].run if self._links else ()

    @property
    def is_still(self) -> bool:
        """Whether the last frame stands with one before it."""
        return len(self.run) > 1

    def stands_since(self, utc: tuple[float, float]) -> bool:
        """Whether nothing moved from a time to the last frame."""
        return bool(self._links) and seconds_between(self._links[-1].since, utc) >= 0

    def add(self, frame: Frame, axis_deg: float | None = None) -> None:
        """Take in a further frame.

        Parameters
        ----------
        frame : Frame
        axis_deg : float, optional
            How far the axis is from the pole, as far as known: the field drifts by that. [deg]
        """
        drift = _SKY_ARCSEC_PER_S * np.sin((_UNKNOWN_AXIS_DEG if axis_deg is None else axis_deg) * DEGREE)
        self.note(frame.utc, frame.exposure_s)
        self._waiting.append((frame, float(drift)))

    @property
    def _links(self) -> deque[_Link]:
        """The last frames with those that they stand with."""
        while self._waiting:
            self._link(*self._waiting.popleft())
        return self._linked

    def _link(self, frame: Frame, drift: float) -> None:
        links = self._linked
        partner = next((link for link in reversed(links) if _stand(link.frame, frame, drift)), None)
        if partner is None:
            self._is_slewed = bool(links) and _is_slew(links[-1].frame, frame)
            links.append(_Link(frame, (frame,), frame.utc))
        else:
            links.append(_Link(frame, (*partner.run, frame)[-_KEPT:], partner.since))

    def note(self, utc: tuple[float, float], exposure_s: float | None = None) -> None:
        """Take note that there was an exposure: a blurred one, which nobody can solve, shows that the camera runs.

        Parameters
        ----------
        utc : tuple of float
            Its middle. [d]
        exposure_s : float, optional
            Its length; else it is as the one before. [s]
        """
        before, before_s = self._last or (utc, 0.0)
        length = before_s if exposure_s is None else exposure_s
        apart = seconds_between(before, utc)
        self._last = utc, length
        is_short = 0 < apart < _HANDS_S + (before_s + length) / 2
        self._short_gaps = self._short_gaps + 1 if is_short else 0
        if self._short_gaps >= _SHORT_GAPS:
            self.is_running, self._cadence_s = True, apart
        elif apart > _RUNNING_MISSES * self._cadence_s + _RUNNING_S:
            self.is_running = False


def _stand(first: Frame, second: Frame, drift_arcsec_per_s: float) -> bool:
    """Whether two frames show a mount that only tracked, or only stood, between them."""
    elapsed = seconds_between(first.utc, second.utc)
    if abs(elapsed) > _PAIR_S or not sensor_of(first).is_like(sensor_of(second)):
        return False
    turned = best_rotations(unit(first.sky), unit(second.sky)[None], SENSOR_WEIGHTS)[0]
    middle = unit(SENSOR_WEIGHTS @ first.sky)
    shift = (turned @ middle - middle) / ARCSEC
    roll = abs(float(rotation_vector(turned) @ middle))
    east = np.array([-middle[1], middle[0], 0.0])
    cosine = float(np.linalg.norm(east))
    along = float(shift @ east) / max(cosine, 1e-6)
    across = float(shift @ cross(middle, east)) / max(cosine, 1e-6)
    least = max(_LEAST_ARCSEC, _LEAST_PX * first.pixel_scale_arcsec) + drift_arcsec_per_s * abs(elapsed)
    off = min(abs(along), abs(along - _SKY_ARCSEC_PER_S * cosine * elapsed))  # tracking, or not
    return (
        off < least + _WORM_ARCSEC_PER_S * abs(elapsed)
        and abs(across) < least + _SETTLING_ARCSEC_PER_S * abs(elapsed)
        and roll < _ROLL_PX / np.sqrt((first.width_px**2 + first.height_px**2) / 12) + 2 * ARCMIN
    )


def _is_slew(first: Frame, second: Frame) -> bool:
    turned = best_rotations(unit(first.sky), unit(second.sky)[None], SENSOR_WEIGHTS)[0]
    return abs(float(rotation_vector(turned)[2])) > _SLEWED_DEG * DEGREE
