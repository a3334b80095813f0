"""Where frames look over a site: altitudes and the horizon by astropy."""

from __future__ import annotations

import astropy.units as u
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time

from polarcheck.measurement.pointings import Pointings
from polarcheck.site import Site
from polarcheck.sky import Epochs
from tests.helpers import icrs, utc_date

# Heron Ridge, invented
RIDGE = Site(47.3, 50.0, 900.0)
NIGHT = utc_date(2026, 11, 14, 20, 0)


def test_what_stands_above_the_horizon_is_what_astropy_says() -> None:
    # astropy AltAz without air, 200 places over the whole sky; those within 0.05 deg of the horizon may differ
    golden = np.arange(200) * np.pi * (1 + np.sqrt(5))
    sky = icrs(golden, np.arcsin(np.linspace(-0.995, 0.995, 200)))
    frame = AltAz(
        obstime=Time(*NIGHT[0], format="jd", scale="utc"),
        location=EarthLocation.from_geodetic(RIDGE.longitude_deg, RIDGE.latitude_deg, RIDGE.height_m),
        pressure=0 * u.hPa,
    )
    altitude = SkyCoord(sky * u.one, representation_type="cartesian").transform_to(frame).alt.deg
    clear = np.abs(altitude) > 0.05
    seen = Pointings.of(sky, Epochs.of(np.repeat(NIGHT, 200, axis=0)), RIDGE)
    assert list(seen.above_horizon[clear]) == list((altitude > 0)[clear])
    assert 40 < np.count_nonzero(altitude > 0) < 160
    assert seen.altitudes_deg == pytest.approx(altitude, abs=0.01)


def test_some_of_the_frames_keep_what_is_known_of_them() -> None:
    sky, hours = icrs(np.linspace(0, 6, 4), np.linspace(-1, 1.5, 4)), np.arange(4)[:, None] * [0.0, 1 / 24]
    all_of_them = Pointings.of(sky, Epochs.of(NIGHT + hours), RIDGE)
    which = np.array([False, True, False, True])
    some = all_of_them.at(which)
    afresh = Pointings.of(sky[which], Epochs.of((NIGHT + hours)[which]), RIDGE)
    assert some.altitudes_deg == pytest.approx(afresh.altitudes_deg, abs=1e-9)
    assert some.sun_altitudes_deg == pytest.approx(afresh.sun_altitudes_deg, abs=1e-9)
