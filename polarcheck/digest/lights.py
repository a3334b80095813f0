"""Frames of one field over a while: the targets of the night, as the frames show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polarcheck.constants import ARCSEC, DEGREE
from polarcheck.frames import SENSOR_WEIGHTS, Frame, sensor_of
from polarcheck.sky import Target, as_target
from polarcheck.times import seconds_between
from polarcheck.vectors import Array, angle_between, spherical_from_direction, unit

__all__ = ["LightFrames", "light_frames"]

_LEAST_FRAMES, _LEAST_SPAN_S = 4, 180.0  # fewer are a position of a sweep; common practice, no source
_REACH = 0.35  # of the shorter side: dithering and drift stay within; common practice, no source


@dataclass(frozen=True, slots=True)
class LightFrames:
    """Frames of one field.

    Attributes
    ----------
    target : Target
        Centre of the first frame, ICRS.
    frames : tuple of Frame
        In order of time.
    """

    target: Target
    frames: tuple[Frame, ...]

    @property
    def span_s(self) -> float:
        """From the first mid-exposure to the last. [s]"""
        return seconds_between(self.frames[0].utc, self.frames[-1].utc)


def light_frames(frames: Sequence[Frame]) -> tuple[LightFrames, ...]:
    """Gather the frames that stay with one field for a while.

    Parameters
    ----------
    frames : sequence of Frame
        In order of time.

    Returns
    -------
    tuple of LightFrames
        In order of time: four frames or more over three minutes or more.
    """
    fields: list[list[Frame]] = []
    for frame in frames:
        found = next((field for field in fields if _is_of(frame, field[0])), None)
        if found is None:
            fields.append([frame])
        else:
            found.append(frame)
    made = [LightFrames(_target(field[0]), tuple(field)) for field in fields if len(field) >= _LEAST_FRAMES]
    return tuple(light for light in made if light.span_s >= _LEAST_SPAN_S)


def _is_of(frame: Frame, first: Frame) -> bool:
    """Whether a frame shows the field of another one, with the same camera."""
    if not sensor_of(frame).is_like(sensor_of(first)):
        return False
    reach = _REACH * min(first.width_px, first.height_px) * first.pixel_scale_arcsec * ARCSEC
    return float(angle_between(_centre(frame), _centre(first))) < reach


def _centre(frame: Frame) -> Array:
    return unit(SENSOR_WEIGHTS @ frame.sky)


def _target(frame: Frame) -> Target:
    ra, dec = (float(np.asarray(angle)) / DEGREE for angle in spherical_from_direction(_centre(frame)))
    return as_target((ra % 360, dec))
