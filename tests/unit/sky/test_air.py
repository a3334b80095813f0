"""Air that no site has."""

from __future__ import annotations

import pytest

from polarcheck.errors import ParameterError
from polarcheck.sky import Atmosphere, standard_atmosphere


def test_thinnest_air_is_that_of_the_highest_sites_and_a_storm() -> None:
    """264 hPa at 10 km in the standard atmosphere (ISO 2533); 150 is none, but inches or kilopascals may be meant."""
    assert standard_atmosphere(10_000.0).pressure_hpa == pytest.approx(264.4, abs=0.5)
    Atmosphere(264.4, -50.0)
    with pytest.raises(ParameterError, match="another unit"):
        Atmosphere(150.0, 10.0)
