"""Group means and the roll component's variance, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polarcheck.axis.groups import group_means, roll_variance


def test_means_are_weighted_within_each_group() -> None:
    # by hand: (1 x 1 + 3 x 5) / 4 = 4; a single value is its own mean; a group without weight has none
    values = np.array([[1.0, 10.0], [5.0, 30.0], [7.0, 70.0], [9.0, 90.0]])
    found = group_means(values, np.array([0, 0, 1, 2]), np.array([1.0, 3.0, 0.5, 0.0]), 3)
    assert found == pytest.approx(np.array([[4.0, 25.0], [7.0, 70.0], [0.0, 0.0]]))


def test_means_keep_the_shape_of_what_is_averaged() -> None:
    found = group_means(np.arange(8.0).reshape(2, 2, 2), np.array([0, 0]), np.ones(2), 1)
    assert found == pytest.approx(np.array([[[2.0, 3.0], [4.0, 5.0]]]))


@pytest.mark.parametrize(
    ("degrees_from_axis", "ratio", "moment", "variance"),
    # by hand: on the axis roll is pointing; across it stars over a small sensor tell the roll ratio^2/moment worse
    [(0.0, 3.0, 0.01, 1.0), (90.0, 2.0, 0.01, 400.0), (30.0, 1.0, 0.5, 0.75 + 0.25 * 2)],
)
def test_roll_variance(degrees_from_axis: float, ratio: float, moment: float, variance: float) -> None:
    sine = np.sin(np.radians(degrees_from_axis))
    assert roll_variance(sine**2, ratio, moment) == pytest.approx(variance)
