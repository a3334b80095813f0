"""Stars that serve as a mark: what an eye would take, and would not."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.stars import mark_candidates
from tests.star_tables import star_table

PLACES = np.array([[300.0, 300.0], [800.0, 300.0], [300.0, 700.0], [800.0, 700.0]])


@pytest.mark.parametrize(("elongation", "counts"), [(1.25, True), (1.45, False), (2.0, False)])
def test_a_long_star_is_no_mark(elongation: float, counts: bool) -> None:
    """From about 1.3 an eye sees that a star is long: common practice, no source."""
    long = np.array([elongation, 1.05, 1.05, 1.05])
    assert (0 in mark_candidates(star_table(PLACES, elongation=long), 10.0)) is counts


@pytest.mark.parametrize(("apart", "alone"), [(18.0, False), (21.0, False), (27.0, True), (40.0, True)])
def test_a_star_with_another_within_eight_widths_is_no_mark(apart: float, alone: bool) -> None:
    """Widths of 3 px: what is 24 px away is told apart when the field moves."""
    places = np.concatenate([PLACES, [[300.0 + apart, 300.0]]])
    table = star_table(places, flux=np.array([2e4, 1.9e4, 1.8e4, 1.7e4, 1.6e4]))
    assert (0 in mark_candidates(table, 10.0)) is alone


@pytest.mark.parametrize(("share", "alone"), [(0.06, True), (0.09, True), (0.12, False), (0.18, False)])
def test_a_neighbour_of_a_tenth_of_the_light_is_a_rival(share: float, alone: bool) -> None:
    """2.5 magnitudes fainter, a neighbour is not taken for the star."""
    places = np.concatenate([PLACES, [[310.0, 300.0]]])
    table = star_table(places, flux=np.array([2e4, 1.9e4, 1.8e4, 1.7e4, 2e4 * share]))
    assert (0 in mark_candidates(table, 10.0)) is alone


def test_in_a_crowd_the_brightest_is_better_than_none() -> None:
    crowd = np.array([[300.0, 300.0], [306.0, 300.0], [300.0, 306.0]])
    assert list(mark_candidates(star_table(crowd), 10.0)) == [0, 1, 2]
