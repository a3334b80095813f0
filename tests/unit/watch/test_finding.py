"""What knobs cannot have done."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.watch.finding import Finding


@pytest.mark.parametrize(
    ("distance_arcmin", "sigma_arcmin", "is_out"),
    [(60.0, 0.0, False), (70.0, 0.0, True), (70.0, 1.5, False), (80.0, 1.5, True)],
)
def test_an_axis_goes_no_farther_than_once_the_wrong_way(
    distance_arcmin: float, sigma_arcmin: float, is_out: bool
) -> None:
    """From 20 arcmin off: to the pole, as far again and half of that, and a quarter of a degree that a slip moves it by
    (common practice, no source): 65 arcmin and six sigmas.
    """
    finding: Any = SimpleNamespace(total_arcmin=20.0, before_arcmin=0.0)
    seen: Any = SimpleNamespace(distance_arcmin=distance_arcmin, sigma_arcmin=sigma_arcmin)
    assert Finding.is_out_of_reach(finding, seen) is is_out
