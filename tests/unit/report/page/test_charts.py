"""Scales and ticks of the charts."""

from __future__ import annotations

import math

import pytest

from polarcheck.report.page.charts import Sheet, linear_ticks, log_ticks


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.0, 10.0, ["0", "2", "4", "6", "8", "10"]),
        (-0.31, 0.29, ["−0.3", "−0.2", "−0.1", "0.0", "0.1", "0.2"]),
        (4.38, 4.62, ["4.40", "4.45", "4.50", "4.55", "4.60"]),
        (-12.0, 31.0, ["−10", "0", "10", "20", "30"]),
    ],
)
def test_ticks_are_round_and_within(low: float, high: float, expected: list[str]) -> None:
    ticks = linear_ticks(low, high)
    assert [text for _, text in ticks] == expected
    assert all(low - 1e-9 <= value <= high + 1e-9 for value, _ in ticks)
    assert all(float(text.replace("−", "-")) == pytest.approx(value) for value, text in ticks)


@pytest.mark.parametrize("span", [1e-5, 0.013, 0.7, 3.3, 19.0, 250.0, 54321.0])
def test_there_are_two_to_eight_ticks(span: float) -> None:
    assert 2 <= len(linear_ticks(0.1 * span, 1.1 * span)) <= 8


def test_powers_of_ten() -> None:
    assert [text for _, text in log_ticks(0.05, 50.0)] == ["0.1", "1", "10"]


def test_values_fall_in_their_place() -> None:
    sheet = Sheet(360, 330, (-2, 2), (10, 20))
    left, top, right, bottom = sheet.box
    assert (sheet.x(-2), sheet.x(2), sheet.y(10), sheet.y(20)) == (left, right, bottom, top)
    assert sheet.x(0) == pytest.approx((left + right) / 2)
    scaled = Sheet(360, 330, (1, 100), (1, 100), is_log=True)
    assert scaled.x(10) == pytest.approx((left + right) / 2)
    assert math.isfinite(scaled.y(0.0))


def test_a_path_joins_its_points() -> None:
    sheet = Sheet(360, 330, (0, 1), (0, 1))
    assert sheet.path([]) == ""
    assert sheet.path([(0, 0), (1, 1)], closed=True) == "M54.00 288.00L348.00 12.00Z"
