"""What a measurement tells beside its error: the other pole, the axis among the stars, noise, the next frame."""

from __future__ import annotations

import astropy.units as u
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time

from polarcheck.measurement.measurement import measure_frames
from polarcheck.measurement.result import NextStep
from polarcheck.site import Site
from tests.benchmarks.mounts import NORTH, Scene, Sweep, frames_of
from tests.helpers import DEG, enu, separation_arcsec
from tests.unit.measurement.test_measurement import BOTH, frames_at


def test_other_error_is_against_the_other_pole() -> None:
    # the poles are apart by ERFA's refraction, A tan z + B tan^3 z of the observed zenith distance, iterated here
    refracted, true = measure_frames(frames_at(NORTH)), measure_frames(frames_at(NORTH), pole="true")
    assert (refracted.pole.kind, refracted.other_pole.kind) == ("refracted", "true")
    assert refracted.other_error == true.error
    air = true.sky.air
    a, b = erfa.refco(air.pressure_hpa, air.temperature_c, air.relative_humidity, air.wavelength_um)
    lift = 0.0
    for _ in range(20):
        tangent = np.tan((90 - NORTH.latitude_deg) * DEG - lift)
        lift = a * tangent + b * tangent**3
    apart = true.error.altitude_arcmin - refracted.error.altitude_arcmin
    assert apart == pytest.approx(lift / DEG * 60, abs=0.001)


@BOTH
def test_icrs_place_of_the_axis_is_seen_there_at_the_last_frame(site: Site) -> None:
    # astropy AltAz with refraction of the same air; 0.1": astropy's refraction inverse and Earth orientation
    result = measure_frames(frames_at(site))
    frame = AltAz(
        obstime=Time(*result.utc, format="jd", scale="utc"),
        location=EarthLocation.from_geodetic(site.longitude_deg, site.latitude_deg, site.height_m),
        pressure=result.sky.air.pressure_hpa * u.hPa,
        temperature=result.sky.air.temperature_c * u.deg_C,
        relative_humidity=result.sky.air.relative_humidity,
        obswl=result.sky.air.wavelength_um * u.um,
    )
    seen = SkyCoord(*(angle * u.deg for angle in result.axis_icrs_deg)).transform_to(frame)
    assert separation_arcsec(enu(seen.az.rad, seen.alt.rad), result.axis) < 0.1
    assert result.utc == frames_at(site).frames[-1].utc


def test_residual_and_noise_are_told_in_arcseconds() -> None:
    # 24 frames of 0.2 px: 44 degrees of freedom know the noise to 11 %
    scene = Scene([Sweep(tuple(np.linspace(-40, 40, 24)))], noise_px=0.4, stars=0)
    result = measure_frames(frames_of(scene, np.random.default_rng(5)))
    assert result.frame_noise_arcsec == pytest.approx(0.4 * 4.95036, rel=0.35)
    squares = [entry.residual_arcsec**2 for entry in result.used if entry.residual_arcsec is not None]
    assert result.residual_rms_arcsec == pytest.approx(np.sqrt(np.mean(squares)), rel=1e-9)


@pytest.mark.parametrize(
    ("now", "then", "worth"),
    [(0.15, 0.05, True), (0.06, 0.01, False), (0.15, 0.14, False), (1.0, 0.6, True), (1.0, 0.8, False)],
)
def test_frame_is_worth_it_where_it_narrows_a_loose_answer(now: float, then: float, worth: bool) -> None:
    """A tenth of an arcminute is what a knob's rim moves in a millimetre or less: nobody turns more finely (common
    practice, no source); what narrows by less than a quarter is not seen against the rest.
    """
    assert NextStep(0.0, 0.0, 0.0, 45.0, now, then).is_worth_a_frame == worth
