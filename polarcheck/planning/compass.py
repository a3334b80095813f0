"""What a compass reads: magnetic declination by the World Magnetic Model of the date."""

from __future__ import annotations

from dataclasses import dataclass

from pygeomag import GeoMag

from polarcheck.errors import Notice
from polarcheck.site import Site
from polarcheck.times import iso_from_utc, utc_from_iso

__all__ = ["Compass", "compass_at"]

_J2000_JAN_1 = 2451544.5  # Julian date of 2000-01-01
_FIRST, _LAST = 2010.0, 2030.0  # what the coefficients in the package pygeomag serve


@dataclass(frozen=True, slots=True)
class Compass:
    """The Earth's magnetic field at a site, as a compass feels it.

    Attributes
    ----------
    declination_deg : float or None
        Magnetic north from true north, east positive; None outside the model's dates. [deg]
    sigma_deg : float or None
        The model's own uncertainty; iron nearby is not in it. [deg]
    horizontal_nt : float or None
        Horizontal intensity; below 6000 nT a compass is unsure, below 2000 nT it is of no use. [nT]
    bearing_deg : float or None
        What a compass reads when it points at the visible pole's azimuth, within [0, 360). [deg]
    model : str or None
        Name of the model.
    valid : tuple of float or None
        Years between which it holds.
    notices : tuple of Notice
    """

    declination_deg: float | None
    sigma_deg: float | None
    horizontal_nt: float | None
    bearing_deg: float | None
    model: str | None
    valid: tuple[float, float] | None
    notices: tuple[Notice, ...] = ()


def compass_at(site: Site, utc: tuple[float, float]) -> Compass:
    """Return what a compass reads at a site on a date.

    Parameters
    ----------
    site : Site
    utc : tuple of float
        Two-part Julian date.

    Returns
    -------
    Compass

    References
    ----------
    .. [1] World Magnetic Model (NOAA/NCEI and BGS), coefficients of 2010 to 2025 as shipped in pygeomag.
    """
    year = _decimal_year(utc)
    if not _FIRST <= year < _LAST:
        text = (
            f"The World Magnetic Models at hand hold from {_FIRST:.0f} to {_LAST:.0f}, not in {year:.1f}: the magnetic "
            "declination is unknown here. Take it from a map of that year; it moves by a tenth of a degree a year or more."
        )
        return Compass(None, None, None, None, None, None, (Notice("magnetic-model-dates", text),))
    model = GeoMag(base_year=year)
    field = model.calculate(
        glat=site.latitude_deg, glon=site.longitude_deg, alt=site.height_m / 1000, time=year
    )
    toward = 0.0 if site.is_north else 180.0
    return Compass(
        declination_deg=float(field.d),
        sigma_deg=float(field.calculate_uncertainty().d) if year >= 2015 else None,
        horizontal_nt=float(field.h),
        bearing_deg=float((toward - field.d) % 360.0),
        model=str(model.model),
        valid=tuple(float(end) for end in model.life_span),  # type: ignore[arg-type]
        notices=_doubts(site, float(field.h)),
    )


def _decimal_year(utc: tuple[float, float]) -> float:
    about = 2000 + (sum(utc) - _J2000_JAN_1) / 365.2425
    if not _FIRST - 1 < about < _LAST + 1:
        return about
    calendar_year = int(iso_from_utc(utc)[:4])
    begin, end = (sum(utc_from_iso(f"{year:04d}-01-01T00:00")) for year in (calendar_year, calendar_year + 1))
    return calendar_year + (sum(utc) - begin) / (end - begin)


def _doubts(site: Site, horizontal_nt: float) -> tuple[Notice, ...]:
    found = []
    if horizontal_nt < 6000:
        worth = "of no use" if horizontal_nt < 2000 else "unsure"
        found.append(
            Notice(
                "compass-weak",
                f"A compass is {worth} here: the field's horizontal part is {horizontal_nt:.0f} nT. Use the Sun's "
                "shadow or the stars.",
            )
        )
    if abs(site.latitude_deg) > 89.9:
        found.append(
            Notice(
                "at-the-pole",
                "So near the Earth's pole azimuths hang on the exact place and turn by the step.",
            )
        )
    return tuple(found)
