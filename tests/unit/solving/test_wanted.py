"""What a solver is told beforehand, and what is tried when that was wrong."""

from __future__ import annotations

import pytest

from polarcheck.errors import ParameterError
from polarcheck.solving.wanted import Hints, Place, attempts, parse_scale


def test_scale_is_a_range_or_a_number_within_5_percent() -> None:
    assert parse_scale("1.1,1.3") == (1.1, 1.3)
    assert parse_scale("2") == pytest.approx((1.9, 2.1))


@pytest.mark.parametrize("text", ["", "x", "1,2,3", "2,1", "0", "-1,1", "inf,inf", "1e9"])
def test_no_scale(text: str) -> None:
    with pytest.raises(ParameterError):
        parse_scale(text)


def test_guesses_are_given_up_and_what_was_stated_is_not() -> None:
    place = Place(10.0, 20.0)
    guessed, stated = Hints((1.0, 2.0), place), Hints((1.0, 2.0), place, is_stated=True)
    assert list(attempts(guessed)) == [guessed, Hints((1.0, 2.0)), Hints()]
    assert list(attempts(stated)) == [stated, Hints((1.0, 2.0), None, is_stated=True)]
    assert list(attempts(Hints())) == [Hints()]


def test_without_a_scale_fields_of_all_sizes_are_looked_for() -> None:
    assert Hints().scale_range(3600) == pytest.approx((0.1, 100.0))


def test_a_place_in_a_header_is_believed_within_20_degrees() -> None:
    """A mount that was never told where it looks errs by the polar error and the hour's rounding, 15 deg (common
    practice, no source).
    """
    assert 15 < Place(10.0, 20.0).radius_deg < 30
