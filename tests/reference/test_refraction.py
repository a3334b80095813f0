"""Refraction against published formulas, and the pole that it lifts."""

from __future__ import annotations

import math

import erfa
import numpy as np
import pytest
from scipy.optimize import brentq

from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, refraction
from polarcheck.sky.observed import Sky
from tests.helpers import ARCSEC, DEG

DRY = Atmosphere(1010.0, 10.0, 0.0, 0.574)
ALTITUDES = [10.0, 15.0, 20.0, 30.0, 45.0, 60.0]
ERFA_PLACE = erfa.apio13(2461369.5, 0.8, -0.085, 0.1, 0.9, 0.0, 0.0, 0.0, 0.0, 10.0, 0.0, 0.574)
LATITUDES = [20.0, 30.0, 40.0, 45.0, 50.0, 52.0, 60.0, 70.0]


def refraction_arcsec(altitude_deg: float, air: Atmosphere = DRY) -> float:
    return refraction(altitude_deg * DEG, air) / ARCSEC


def exact_arcsec(altitude_deg: float) -> float:
    """Solve R = A tan z + B tan^3 z, z = true zenith distance - R, with ERFA's A and B for this air.

    A 57.9785", B -0.06493" for 1010 hPa, 10 deg C, dry, 0.574 um, computed beforehand with eraRefco; the
    formula is that of its notes.
    """
    a, b, true = 57.9785, -0.06493, (90 - altitude_deg) * DEG

    def excess(r: float) -> float:
        t = math.tan(true - r * ARCSEC)
        return a * t + b * t**3 - r

    return float(brentq(excess, 0.0, 2000.0))


@pytest.mark.parametrize(
    ("altitude_deg", "listed"),
    list(zip(ALTITUDES, [314.37, 212.16, 157.58, 99.97, 57.88, 33.45], strict=True)),
)
def test_refraction_solves_the_published_equation(altitude_deg: float, listed: float) -> None:
    """Tolerance 0.03" at 10 deg, 0.01" above: ERFA takes one Newton step instead of iterating."""
    tolerance = 0.03 if altitude_deg < 15 else 0.01
    exact = exact_arcsec(altitude_deg)
    assert exact == pytest.approx(listed, abs=0.01)  # the reference itself, two digits
    assert refraction_arcsec(altitude_deg) == pytest.approx(exact, abs=tolerance)


@pytest.mark.parametrize("altitude_deg", ALTITUDES)
def test_refraction_agrees_with_bennett(altitude_deg: float) -> None:
    """Bennett (1982), J. Navigation 35, 255 (from memory): R' = cot(h + 7.31/(h + 4.4)), h apparent, for
    1010 hPa and 10 deg C. Tolerance 4 %: the rule runs 3 % above ERFA's theory.
    """
    ours = refraction_arcsec(altitude_deg)
    apparent = altitude_deg + ours / 3600
    rule = 60 / math.tan((apparent + 7.31 / (apparent + 4.4)) * DEG)
    assert ours == pytest.approx(rule, rel=0.04)


@pytest.mark.parametrize("altitude_deg", ALTITUDES)
def test_refraction_agrees_with_saemundsson(altitude_deg: float) -> None:
    """Saemundsson (1986), Sky & Telescope 72, 70 (from memory): R' = 1.02 cot(h + 10.3/(h + 5.11)), h
    true, same air. Tolerance 6 %: the rule runs 3 to 5 % above ERFA's theory.
    """
    rule = 61.2 / math.tan((altitude_deg + 10.3 / (altitude_deg + 5.11)) * DEG)
    assert refraction_arcsec(altitude_deg) == pytest.approx(rule, rel=0.06)


@pytest.mark.parametrize(
    ("altitude_deg", "tolerance"),
    [
        (0.0, 0.5),
        (1.0, 0.5),
        (2.8, 0.5),
        (2.9, 0.002),
        (5.0, 0.002),
        (15.0, 1e-4),
        (45.0, 1e-5),
        (89.9, 1e-5),
    ],
)
def test_pole_and_stars_are_lifted_alike(altitude_deg: float, tolerance: float) -> None:
    """Stars go through eraAtioq: what that adds to an airless altitude, down to the horizon.

    Tolerance: eraAtioq moves the vector by the small-angle form of the rotation, which costs 0.001" at 3
    deg; below that it holds refraction, and the vector no longer keeps its length, 0.5".
    """
    bare, air = ERFA_PLACE, erfa.refco(1010.0, 10.0, 0.0, 0.574)
    ri, di = erfa.atoiq("A", 0.7, (90 - altitude_deg) * DEG, bare)
    lifted = bare.copy()
    lifted["refa"], lifted["refb"] = air
    _, zenith_distance, *_ = erfa.atioq(ri, di, lifted)
    expected = (90 - altitude_deg) * 3600 - zenith_distance / ARCSEC
    assert refraction_arcsec(altitude_deg) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("pressure", "temperature", "listed"),
    [(1010.0, 10.0, 57.97), (1013.25, 15.0, 57.15), (1013.25, 0.0, 60.29)],
)
def test_refraction_follows_pressure_and_temperature(
    pressure: float, temperature: float, listed: float
) -> None:
    """True altitude 45 deg, dry, 0.55 um: computed with eraRefco and exact iteration. Tolerance 0.02"."""
    air = Atmosphere(pressure, temperature, 0.0, 0.55)
    assert refraction_arcsec(45.0, air) == pytest.approx(listed, abs=0.02)


def test_refraction_scales_with_the_density_of_the_air() -> None:
    """Both rules (Bennett, Saemundsson) scale as P/1010 * 283/(273 + T). Tolerance 0.5 %: the constant
    temperatures of the rule are rounded.
    """
    thin = refraction_arcsec(45.0, Atmosphere(700.0, -10.0, 0.0, 0.574))
    assert thin / refraction_arcsec(45.0) == pytest.approx(700 / 1010 * 283 / 263, rel=0.005)


def test_humidity_and_colour_matter_little() -> None:
    """Water vapour lowers, shorter waves raise refraction: 0.05" for half humidity and 0.09" for 0.55
    instead of 0.574 um at 45 deg (eraRefco). Tolerance 0.02".
    """
    dry, damp = Atmosphere(1010.0, 10.0, 0.0, 0.55), Atmosphere(1010.0, 10.0, 0.5, 0.55)
    assert refraction_arcsec(45.0, dry) - refraction_arcsec(45.0, damp) == pytest.approx(0.05, abs=0.02)
    assert refraction_arcsec(45.0, dry) - refraction_arcsec(45.0) == pytest.approx(0.09, abs=0.02)


def test_no_air_no_refraction() -> None:
    """By definition; exact."""
    assert refraction(30 * DEG, Atmosphere(0.0, 10.0)) == 0.0


@pytest.mark.parametrize(
    ("latitude_deg", "exact", "saemundsson"),
    list(
        zip(
            LATITUDES,
            [157.58, 99.97, 68.94, 57.88, 48.59, 45.25, 33.45, 21.09],
            [164.47, 104.76, 72.35, 60.76, 51.01, 47.51, 35.11, 22.11],
            strict=True,
        )
    ),
)
@pytest.mark.parametrize("sign", [1, -1], ids=["north", "south"])
def test_pole_is_lifted_by_the_refraction_at_the_latitude(
    latitude_deg: float, exact: float, saemundsson: float, sign: int
) -> None:
    """Refraction at a true altitude equal to the latitude, 1010 hPa, 10 deg C, dry, 0.574 um: A tan z + B
    tan^3 z iterated (tolerance 0.02", two digits and one Newton step), and Saemundsson's rule (6 %).
    """
    pole = Sky(Site(sign * latitude_deg, 10.0), DRY).refracted_pole
    lift = (pole.altitude_deg - latitude_deg) * 3600
    assert lift == pytest.approx(exact, abs=0.02)
    assert lift == pytest.approx(saemundsson, rel=0.06)
    assert pole.azimuth_deg == (0.0 if sign > 0 else 180.0)
    assert np.isclose(np.linalg.norm(pole.direction), 1.0)
