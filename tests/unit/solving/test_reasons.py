"""Why a frame was not recognised: what its list of stars shows."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.solving.reasons import why_not_recognised, why_nothing_to_match
from polarcheck.solving.wanted import Hints

ENGINE: Any = SimpleNamespace(missing_sizes=lambda *_: None, problem=None, name="a solver")


class Stars(SimpleNamespace):
    """A list of stars of which only what is set matters."""

    def __init__(self, count: int, **given: Any) -> None:
        usual = {"width_px": 1200, "height_px": 900, "is_blank": False, "is_overexposed": False}
        super().__init__(**usual | {"long_share": 0.0, "width_of_stars_px": 3.0} | given, count=count)

    def __len__(self) -> int:
        return int(self.count)


def nothing(count: int, **given: Any) -> str | None:
    stars: Any = Stars(count, **given)
    return why_nothing_to_match(stars)


def not_recognised(count: int, **given: Any) -> str:
    stars: Any = Stars(count, **given)
    return why_not_recognised(stars, Hints((1.9, 2.1), is_stated=True), ENGINE, 30.0, time_was_up=False)


def test_three_stars_make_no_pattern_and_four_do() -> None:
    """Four stars fix a shape that neither place, turn nor scale changes: two numbers (common practice, no source)."""
    assert "3 stars" in (nothing(3) or "")
    assert nothing(4) is None


@pytest.mark.parametrize(("share", "trailed"), [(0.35, False), (0.45, True)])
def test_where_two_in_five_are_long_the_mount_moved(share: float, trailed: bool) -> None:
    """Galaxies, pairs and cosmic rays are fewer (common practice, no source)."""
    assert ("trails" in (nothing(2, long_share=share) or "")) is trailed
    assert ("long" in not_recognised(50, long_share=share)) is trailed


@pytest.mark.parametrize(("width_px", "blurred"), [(13.0, False), (15.0, True)])
def test_stars_fourteen_pixels_wide_are_out_of_focus(width_px: float, blurred: bool) -> None:
    """Seeing of 4 arcsec at a third of an arcsec a pixel is 12 px, and nobody samples finer (common practice, no source)."""
    assert ("focus" in not_recognised(50, width_of_stars_px=width_px)) is blurred


@pytest.mark.parametrize(("count", "few"), [(11, True), (12, False)])
def test_a_dozen_stars_are_enough_to_look_for_another_reason(count: int, few: bool) -> None:
    """Common practice, no source."""
    assert ("only" in not_recognised(count)) is few
