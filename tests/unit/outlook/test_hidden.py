"""Map and night behind roofs and trees, against textbook spherical trigonometry."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck import Outlook, optics_from
from polarcheck.axis import Horizon
from polarcheck.errors import InputError
from polarcheck.measurement.source import given_alignment
from polarcheck.site import Site
from polarcheck.sky import AIRLESS, Sky
from tests.helpers import DEG

NIGHT = "2026-11-14T22:00:00"
WALL = Horizon(
    np.array([0.0, 99.999, 100.0, 220.0, 220.001]) * DEG, np.array([0.0, 0.0, 50.0, 50.0, 0.0]) * DEG
)
"""A house from azimuth 100 to 220, 50 deg high."""


def outlook(latitude_deg: float, horizon: Horizon | None) -> Outlook:
    alignment = given_alignment((5.0, -3.0), Sky(Site(latitude_deg, 11.2), AIRLESS))
    optics = optics_from(None, focal_length_mm=250, pixel_size_um=6.0, sensor_px=(1200, 900))
    return Outlook(alignment, optics, 5.0, horizon=horizon)


def azimuth_altitude(
    hour_angle_deg: float, declination_deg: float, latitude_deg: float
) -> tuple[float, float]:
    """By the textbook, without refraction. [deg]"""
    h, d, phi = hour_angle_deg * DEG, declination_deg * DEG, latitude_deg * DEG
    altitude = np.arcsin(np.sin(phi) * np.sin(d) + np.cos(phi) * np.cos(d) * np.cos(h))
    azimuth = np.arctan2(
        -np.cos(d) * np.sin(h), np.sin(d) * np.cos(phi) - np.cos(d) * np.cos(h) * np.sin(phi)
    )
    return float(azimuth / DEG % 360), float(altitude / DEG)


@pytest.mark.parametrize("latitude_deg", [47.3, -31.4])
def test_cells_behind_the_house_have_no_limit_and_the_others_keep_theirs(latitude_deg: float) -> None:
    found, free = outlook(latitude_deg, WALL).map(), outlook(latitude_deg, None).map()
    assert found.hidden is not None and free.hidden is None
    seen = 0
    for i in range(0, len(found.declination_deg), 3):
        for j in range(0, len(found.hour_angle_deg), 5):
            azimuth, altitude = azimuth_altitude(
                found.hour_angle_deg[j], found.declination_deg[i], latitude_deg
            )
            hidden = altitude < (50 if 100 <= azimuth <= 220 else 0)
            assert bool(found.hidden[i, j]) is hidden
            seen += hidden and altitude > 5
    assert seen > 10
    assert np.isnan(found.limit_s[found.hidden]).all()
    np.testing.assert_array_equal(found.limit_s[~found.hidden], free.limit_s[~found.hidden])


def test_target_is_hidden_while_it_passes_behind_the_house() -> None:
    # Dec +10 of date culminates at 52.7 deg, so that it clears the house around the meridian only
    line, free = (outlook(47.3, horizon).timeline((60.0, 10.0), NIGHT) for horizon in (WALL, None))
    assert line.hidden is not None
    for i, hour_angle in enumerate(line.hour_angle_deg):
        azimuth, altitude = azimuth_altitude(hour_angle, 10.08, 47.3)
        assert altitude == pytest.approx(line.altitude_deg[i], abs=0.2)
        house = 50 if 100 <= azimuth <= 220 else 0
        if abs(altitude - house) > 0.5 and min(abs(azimuth - 100), abs(azimuth - 220)) > 0.5:
            assert bool(line.hidden[i]) is bool(altitude < house)
    assert line.hidden.any() and not line.hidden.all()
    assert np.isnan(line.limit_s[line.hidden]).all()
    assert len(line.spans_up_s) > len(free.spans_up_s)
    assert line.moonless_s < free.moonless_s
    up = sum(end - begin for begin, end in line.spans_up_s)
    assert up < sum(end - begin for begin, end in free.spans_up_s)


def test_target_behind_the_horizon_all_night_is_refused() -> None:
    tower = Horizon(np.zeros(1), np.array([89.0]) * DEG)
    with pytest.raises(InputError, match="behind the rig file's horizon all night"):
        outlook(47.3, tower).timeline((60.0, 10.0), NIGHT)
