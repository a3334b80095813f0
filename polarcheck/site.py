"""Where the mount stands."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.errors import InputError

__all__ = ["Site"]


@dataclass(frozen=True, slots=True)
class Site:
    """A place on the Earth.

    Attributes
    ----------
    latitude_deg : float
        Geodetic latitude, north positive, within +-90. [deg]
    longitude_deg : float
        East positive, wrapped to (-180, 180]. [deg]
    height_m : float
        Above the ellipsoid. [m]
    source : str
        Where it came from, printable: "option", "rig file", or the header keywords.

    Raises
    ------
    InputError
        A latitude, longitude or height that no place has.
    """

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    source: str = "option"

    def __post_init__(self) -> None:
        if not abs(self.latitude_deg) <= 90:
            raise InputError(f"latitude {self.latitude_deg:g} deg is not within -90 to 90 (site: {self.source})")
        if not abs(self.longitude_deg) <= 360:
            raise InputError(f"longitude {self.longitude_deg:g} deg is not within -360 to 360 (site: {self.source})")
        if not -1000 <= self.height_m <= 10000:
            raise InputError(f"height {self.height_m:g} m is not within -1000 to 10000 (site: {self.source})")
        object.__setattr__(self, "longitude_deg", 180.0 - (180.0 - self.longitude_deg) % 360.0)

    @property
    def is_north(self) -> bool:
        """Whether the north celestial pole is the visible one; the equator counts as north."""
        return self.latitude_deg >= 0
