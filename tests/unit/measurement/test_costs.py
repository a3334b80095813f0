"""What a wrong site, clock or air costs, against measuring again with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.frames import FrameSet
from polarcheck.measurement.conditions import Conditions
from polarcheck.measurement.measurement import measure_frames
from polarcheck.site import Site
from tests.benchmarks.mounts import NORTH
from tests.unit.measurement.test_measurement import BOTH, frames_at, moved, offset


@BOTH
def test_cost_of_a_wrong_site_is_that_of_measuring_again_at_a_wrong_site(site: Site) -> None:
    # 2 %: the cost is told for one degree, and the frames' weights move a little
    frames = frames_at(site, noise_px=0.2)
    here = moved(frames)
    east = np.linalg.norm(offset(moved(frames, east_deg=1.0)) - offset(here))
    away = np.linalg.norm(offset(moved(frames, north_deg=1.0 if site.is_north else -1.0)) - offset(here))
    cost = here.site_cost
    assert cost.longitude_arcmin_per_deg == pytest.approx(east, rel=0.02)
    assert cost.latitude_arcmin_per_deg == pytest.approx(away, rel=0.02)
    assert cost.clock_arcmin_per_min == pytest.approx(east / 4, rel=0.02)


@BOTH
def test_cost_of_other_air_is_that_of_measuring_again_in_it(site: Site) -> None:
    frames = frames_at(site)
    here = measure_frames(frames)
    air = here.sky.air
    stated = {
        "pressure_hpa": air.pressure_hpa,
        "temperature_c": air.temperature_c,
        "relative_humidity": air.relative_humidity,
    }
    cost = here.site_cost
    for key, off, told in (
        ("pressure_hpa", 10.0, cost.pressure_arcmin_per_10hpa),
        ("temperature_c", -10.0, cost.temperature_arcmin_per_10deg),
        ("relative_humidity", -0.5, cost.humidity_arcmin_per_half),
    ):
        other = measure_frames(frames, conditions=Conditions(**{**stated, key: stated[key] + off}))
        assert told == pytest.approx(np.linalg.norm(offset(other) - offset(here)), rel=0.1, abs=2e-4)
    assert cost.pressure_arcmin_per_10hpa > 0


def test_cost_of_a_wrong_clock_is_that_of_frames_a_minute_late() -> None:
    # moved clocks turn the sky at 15.041"/s; 2 %
    frames = frames_at(NORTH)
    late = FrameSet(tuple(replace(f, utc=(f.utc[0], f.utc[1] + 60 / 86400)) for f in frames.frames), ())
    cost = np.linalg.norm(offset(measure_frames(late)) - offset(measure_frames(frames)))
    assert measure_frames(frames).site_cost.clock_arcmin_per_min == pytest.approx(cost, rel=0.02)
