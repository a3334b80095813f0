"""What a sequence says beyond the prediction: steady excess, and a drive that sways."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from polarcheck.errors import InputError
from polarcheck.measurement.source import given_alignment
from polarcheck.outlook import DriftCheck, check_drift
from tests.benchmarks.tracked_mounts import Session, frames_of

SESSION = Session(hours=1.0, frames=13)


def checked(**settings: Any) -> DriftCheck:
    """A check of which only what is set matters."""
    nothing: dict[str, Any] = {
        "names": (),
        "seconds": np.zeros(0),
        "seen_arcsec": np.zeros((0, 3)),
        "predicted": SimpleNamespace(),
        "rate_excess_arcsec_per_min": np.zeros(3),
        "rate_excess_sigma": np.ones(3),
        "scatter_arcsec": np.zeros(3),
        "swing_arcsec": 0.0,
        "target_deg": (0.0, 0.0),
        "unsolved": 0,
        "is_guided": False,
        "notices": (),
    }
    return DriftCheck(**(nothing | settings))


def test_slope_beyond_three_standard_errors_is_steady() -> None:
    """Normal noise exceeds 2.5 in 1.2 % and 3.5 in 0.05 % of cases (tables of the normal distribution, from memory)."""
    slopes = np.array([3.5, -3.5, 2.5])
    assert checked(rate_excess_arcsec_per_min=slopes).steady_parts == ("east", "north")
    assert checked(rate_excess_arcsec_per_min=-slopes[::-1]).steady_parts == ("north", "rotation")


@pytest.mark.parametrize(
    ("east", "north", "drive"), [(1.0, 0.4, True), (1.0, 0.6, False), (0.5, 0.1, True), (0.2, 0.01, False)]
)
def test_scatter_east_west_alone_points_to_the_drive(east: float, north: float, drive: bool) -> None:
    """The drive turns about one axis, which moves stars east-west; solutions scatter alike both ways, by about
    0.1 arcsec (common practice, no source).
    """
    assert checked(scatter_arcsec=np.array([east, north, 0.0])).points_to_drive == drive


def test_the_drift_that_was_seen_is_the_slope_of_a_straight_line() -> None:
    """Two minutes with 3 arcsec/min east and -1.5 north, by construction."""
    minutes = np.array([0.0, 0.5, 1.0, 2.0])
    seen = np.stack([3.0 * minutes, 0.25 - 1.5 * minutes, 0.0 * minutes], axis=-1)
    found = checked(seconds=60 * minutes, seen_arcsec=seen)
    assert found.seen_arcsec_per_min == pytest.approx((3.0, -1.5))


def compared(session: Session) -> DriftCheck:
    alignment = given_alignment(session.error_arcmin, session.sky)
    return check_drift(alignment, frames_of(session, np.random.default_rng(1)))


def test_a_tracked_field_drifts_as_predicted_and_is_not_called_guided() -> None:
    found = compared(SESSION)
    assert not found.is_guided
    assert not found.notices
    assert np.abs(found.left_arcsec[:, :2]).max() < 6


def test_a_field_that_a_guider_holds_is_called_guided_dithered_or_not() -> None:
    for dither in (0.0, 5.0):
        found = compared(replace(SESSION, guided=True, dither_px=dither))
        assert found.is_guided
        assert [notice.code for notice in found.notices] == ["guided"]


def test_three_frames_are_enough_for_a_drift() -> None:
    """Two always lie on a line, and say nothing of the scatter."""
    assert len(compared(replace(SESSION, frames=3)).names) == 3
    with pytest.raises(InputError, match="2 frames"):
        compared(replace(SESSION, frames=2))


@pytest.mark.parametrize(("hours", "guided"), [(0.07, False), (0.1, True)])
def test_a_field_is_called_guided_where_it_would_have_drifted_by_five_times_its_unrest(
    hours: float, guided: bool
) -> None:
    """It lies still to 1 arcsec; the axis would make it drift by 4.3 or 6.1 (common practice, no source)."""
    session = replace(SESSION, guided=True, hours=hours, frames=9, error_arcmin=(6.0, 0.0))
    assert compared(session).is_guided is guided
