"""No more digits than the uncertainty carries: the rule of the Particle Data Group."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polarcheck.report.text.rounding import decimals_for, with_sigma


@pytest.mark.parametrize(
    ("value", "sigma", "shown"),
    # the two examples of the rule's own text: Review of Particle Physics, introduction, section 5.3 (from memory)
    [(0.827, 0.119, ("0.83", "0.12")), (0.827, 0.367, ("0.8", "0.4"))],
)
def test_examples_of_the_rule(value: float, sigma: float, shown: tuple[str, str]) -> None:
    assert with_sigma(value, sigma) == shown


@pytest.mark.parametrize(
    ("sigma", "shown"),
    # the borders of the same rule: 100 to 354 two digits, 355 to 949 one, 950 to 999 up to 1000 with two
    [
        (1.00, "1.0"),
        (3.54, "3.5"),
        (3.55, "4"),
        (9.49, "9"),
        (9.50, "10"),
        (0.354, "0.35"),
        (0.355, "0.4"),
        (0.949, "0.9"),
        (0.951, "1.0"),
        (0.0999, "0.10"),
        (12.3, "12"),
        (123.0, "123"),
    ],
)
def test_borders_of_the_rule(sigma: float, shown: str) -> None:
    assert with_sigma(0.0, sigma)[1] == shown


def test_finer_than_a_thousandth_is_not_shown() -> None:
    """0.001 arcmin is 0.06 arcsec, far below what any solution knows (common practice, no source)."""
    assert decimals_for(1e-5) == 3
    assert with_sigma(0.12345, 1e-5) == ("0.123", "<0.001")


@pytest.mark.parametrize("sigma", [0.0, -1.0, math.nan, math.inf])
def test_sigma_that_is_none_gives_all_the_digits(sigma: float) -> None:
    assert decimals_for(sigma) == 3


def test_nothing_is_not_less_than_nothing() -> None:
    assert with_sigma(-0.0004, 0.011) == ("0.000", "0.011")
    assert with_sigma(-0.0006, 0.011) == ("-0.001", "0.011")


@given(value=st.floats(-1e4, 1e4), sigma=st.floats(0.0015, 59.0))
def test_rounding_costs_less_than_a_sixth_of_sigma(value: float, sigma: float) -> None:
    """Half a unit of the last place, against the least sigma with that many digits: 0.5 / 3.55 = 0.141."""
    shown, plus = with_sigma(value, sigma)
    # below 3.55 thousandths the fixed last place is coarser than the rule's
    allowed = max(0.142 * sigma, 0.0005) * (1 + 1e-9)
    assert abs(float(shown) - value) <= allowed
    assert abs(float(plus) - sigma) <= allowed
    assert len(shown.partition(".")[2]) == len(plus.partition(".")[2]) <= 3
