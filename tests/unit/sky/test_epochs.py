"""The Earth at some moments: the same as ERFA has it in one call; computed once, it serves any part, site and air."""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere
from polarcheck.sky.earth import EarthOrientation
from polarcheck.sky.epochs import Epochs
from tests.helpers import DEG, utc_date

# a leap second on the way, a date when UTC had a rate of its own, and one far ahead
UTC = np.concatenate(
    [utc_date(2016, 12, 31, 18), utc_date(2017, 1, 1, 3), [[2437421.5, 0.3], [2484628.5, 0.9]]]
)
ORIENTATION = EarthOrientation(
    np.array([-0.408, 0.591, 0.02, 0.1]),
    np.array([1e-7, 2e-7, -3e-7, 0.0]),
    np.array([1e-6, -2e-6, 0.0, 1e-7]),
)
UNSET = {"phi"}
"""ERFA leaves it as the memory was."""
PLACES = [
    (Site(47.3, 11.2, 900.0), Atmosphere(905.0, 4.0)),
    (Site(-31.4, -170.6, 4200.0), Atmosphere(0.0, 10.0)),
]


@pytest.mark.parametrize(("site", "air"), PLACES, ids=["air", "airless"])
@pytest.mark.filterwarnings("ignore::erfa.ErfaWarning")
def test_parameters_are_those_of_erfa(site: Site, air: Atmosphere) -> None:
    """ERFA, ``eraApco13``: to the last digit, since its own steps are made."""
    expected, _ = erfa.apco13(
        *UTC.T,
        ORIENTATION.ut1_minus_utc_s,
        site.longitude_deg * DEG,
        site.latitude_deg * DEG,
        site.height_m,
        ORIENTATION.pole_x,
        ORIENTATION.pole_y,
        air.pressure_hpa,
        air.temperature_c,
        air.relative_humidity,
        air.wavelength_um,
    )
    found = Epochs.of(UTC, ORIENTATION).astrometry(site, air)
    for name in set(expected.dtype.names) - UNSET:
        np.testing.assert_allclose(found[name], expected[name], rtol=1e-14, atol=1e-16, err_msg=name)


@pytest.mark.parametrize(
    "some", [np.array([2, 0]), np.array([True, False, True, False])], ids=["index", "mask"]
)
def test_some_of_the_moments_are_as_computed_alone(some: np.ndarray) -> None:
    whole, part = Epochs.of(UTC).at(some), Epochs.of(UTC[some])
    site, air = PLACES[0]
    for name in ("eb", "bpn", "eral", "xpl", "refa"):
        np.testing.assert_allclose(
            whole.astrometry(site, air)[name], part.astrometry(site, air)[name], atol=1e-12
        )
    assert whole.utc == pytest.approx(part.utc)
    assert whole.from_sun == pytest.approx(part.from_sun, abs=1e-12)
