"""How far an exposure may go on at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from polarcheck.outlook import set_scene
from tests.unit.outlook.test_outlook import OUTLOOK, POLE, SKY, START

NEVER_SETS = (37.95, 89.26)


def test_nobody_looks_farther_ahead_than_six_hours() -> None:
    """As the answers say ("6 h"): by exposure, and over the map."""
    scene = set_scene(SKY, POLE, NEVER_SETS, START, OUTLOOK.optics, guided=False)
    assert (scene.end_s, scene.ends_by) == (6 * 3600.0, "6 h")
    found = replace(OUTLOOK, tolerance_arcsec=1e4, guided=True).map()
    assert np.nanmax(found.available_s) == 6 * 3600.0
