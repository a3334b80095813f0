"""What is said about place, air and frames, where headers and standards do not stand."""

from __future__ import annotations

from dataclasses import dataclass

from polarcheck.axis import Reach
from polarcheck.constants import FRAME_NOISE_PX
from polarcheck.errors import ParameterError
from polarcheck.site import Site
from polarcheck.sky import Sky, standard_atmosphere

__all__ = ["Conditions", "Reading"]


@dataclass(frozen=True, slots=True)
class Conditions:
    """Place, air and noise.

    Attributes
    ----------
    site : Site or None
        Overrides what the headers say.
    fallback_site : Site or None
        Serves where no header names a site.
    pressure_hpa, temperature_c, relative_humidity : float or None
        Of the air at the site; else of the standard atmosphere there. Pressure 0: no refraction. [hPa], [deg C], 0 to 1
    noise_px : float
        Pointing noise of a frame per coordinate, assumed where the residuals cannot tell. [px]
    flexure_arcsec : float or None
        Sag and creep to allow for beside the noise; 5 unless stated. [arcsec]
    reach : Reach or None
        Where a next frame may lie, `polarcheck.rig.Rig.reach`; None: above 15 deg.
    frames_guided : bool or None
        Whether a guider held a star while the frames were taken; None: the frames must tell.

    Raises
    ------
    ParameterError
        A noise or an air that cannot be.
    """

    site: Site | None = None
    fallback_site: Site | None = None
    pressure_hpa: float | None = None
    temperature_c: float | None = None
    relative_humidity: float | None = None
    noise_px: float = FRAME_NOISE_PX
    flexure_arcsec: float | None = None
    reach: Reach | None = None
    frames_guided: bool | None = None

    def __post_init__(self) -> None:
        standard_atmosphere(0.0, self.pressure_hpa, self.temperature_c, self.relative_humidity)
        if not 1e-4 <= self.noise_px <= 100:
            raise ParameterError(
                f"the assumed noise must lie within 0.0001 to 100 px, not {self.noise_px:g}", "noise_px"
            )

    @property
    def say_something(self) -> bool:
        """Whether site or air are stated."""
        return any(
            value is not None
            for value in (self.site, self.pressure_hpa, self.temperature_c, self.relative_humidity)
        )

    def sky_over(self, site: Site) -> Sky:
        """Return the sky over a site under this air."""
        return Sky.over(site, self.pressure_hpa, self.temperature_c, self.relative_humidity)


@dataclass(frozen=True, slots=True)
class Reading:
    """How files are read.

    Attributes
    ----------
    clock_ahead_s : float
        By how much the clock in the headers was ahead of UTC. [s]
    recursive : bool
        Whether to look into subfolders.
    look_at_stars : bool
        Whether to leave out frames whose stars show that the mount still moved; reads all pixels.
    zone : str or None
        Time zone of local times that do not name theirs, as for `read_frames`.
    """

    clock_ahead_s: float = 0.0
    recursive: bool = False
    look_at_stars: bool = False
    zone: str | None = None
