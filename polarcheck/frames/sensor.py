"""What tells one camera's frames from another's: size, pixel scale, parity."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.frames.frame import Frame

__all__ = ["Sensor", "sensor_of"]


@dataclass(frozen=True, slots=True)
class Sensor:
    """What tells one camera's frames from another's.

    Attributes
    ----------
    width_px, height_px : int
        Size of the image. [px]
    pixel_scale_arcsec : float
        At the centre. [arcsec/px]
    mirrored : bool
        Whether it sees the sky mirrored.
    """

    width_px: int
    height_px: int
    pixel_scale_arcsec: float
    mirrored: bool

    def is_like(self, other: Sensor, ratio: float = 1.015) -> bool:
        """Whether size and parity are the same, and the pixel scales within a ratio."""
        apart = self.pixel_scale_arcsec / other.pixel_scale_arcsec
        mine = (self.width_px, self.height_px, self.mirrored)
        return mine == (other.width_px, other.height_px, other.mirrored) and 1 / ratio < apart < ratio


def sensor_of(frame: Frame) -> Sensor:
    """Return what tells a frame's camera from others."""
    return Sensor(frame.width_px, frame.height_px, frame.pixel_scale_arcsec, frame.mirrored)
