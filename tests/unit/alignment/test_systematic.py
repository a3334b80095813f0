"""The allowance for sag and creep that stands where a kept result has none."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.alignment import Systematic
from polarcheck.axis import fit_axis, flexure_region
from tests.helpers import ARCSEC
from tests.rigid_mount import AXIS, NOISE, POLE, WEIGHTS, camera_at, noisy, seen_by, turned


@pytest.mark.parametrize("arc_deg", [70.0, 90.0])
def test_older_result_gets_what_a_long_sweep_gets_today(arc_deg: float) -> None:
    """For five seconds of arc of sag and of creep, as docs/measure.md has it; no source but experience."""
    attitudes = noisy(turned(AXIS, np.linspace(0.0, -arc_deg, 6), camera_at(AXIS, 50.0)))
    fit = fit_axis(seen_by(attitudes), WEIGHTS, np.full(6, NOISE), POLE)
    region = flexure_region(fit, 5 * ARCSEC, np.linspace(0.0, 600.0, 6), None)
    today = Systematic(5.0, "assumed", region).half_widths_arcmin(AXIS)
    older = Systematic.of_older_result()
    assert older.allowance_arcsec == pytest.approx(5.0)
    assert np.divide(older.half_widths_arcmin(AXIS), today) == pytest.approx(1.0, abs=0.25)
