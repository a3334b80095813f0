"""Several nights: what moved between them, what is steady, what is worth keeping."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.knobs import KeptKnob
from polarcheck.night.events import MeasuredEvent, NightEvent, RefusedEvent
from polarcheck.night.log import NIGHT_FILE, NightLog
from polarcheck.night.nights import MeanOverNights, Nights, OneNight, read_nights
from polarcheck.night.schema import NightSchema
from tests.unit.night.test_account import measured, turned


def turned_axis(event: MeasuredEvent, azimuth_arcmin: float, latitude_deg: float = 47.3) -> MeasuredEvent:
    """The same sweep of an axis that stands elsewhere."""
    axis = event.result.axis.model_copy(
        update={"azimuth_deg": event.result.axis.azimuth_deg + azimuth_arcmin / 60}
    )
    site = event.result.site.model_copy(update={"latitude_deg": latitude_deg})
    return event.model_copy(update={"result": event.result.model_copy(update={"axis": axis, "site": site})})


def folder_with(folder: Path, *events: NightEvent) -> Path:
    folder.mkdir(exist_ok=True)
    for event in events:
        NightLog(folder).append(event)
    return folder


def test_nights_of_one_file_and_of_several_are_told_alike(tmp_path: Path) -> None:
    first, second = measured("14T21"), turned_axis(measured("16T21"), 6.0)
    one = folder_with(tmp_path / "one", first, turned("14T21", 0.5, 0.0), second)
    a, b = folder_with(tmp_path / "a", second), folder_with(tmp_path / "b", first)
    for nights in (read_nights([one]), read_nights([a, b / NIGHT_FILE])):
        assert [len(night.account.steps) for night in nights.nights] == [1, 1]
        (shift,) = nights.shifts
        assert shift is not None
        assert (shift.azimuth_arcmin, shift.altitude_arcmin) == pytest.approx((6.0, 0.0))
        error = nights.nights[0].first.error
        assert shift.azimuth_sigma_arcmin == pytest.approx(2**0.5 * error.azimuth_sigma_arcmin)
        assert nights.mean_shift == (None, None)


def test_files_of_one_evening_are_one_night(tmp_path: Path) -> None:
    """The sweep in one folder, the sweep after the turn in another."""
    before = folder_with(tmp_path / "before", measured("14T21"), turned("14T21", 0.5, 0.0))
    after = folder_with(tmp_path / "after", turned_axis(measured("14T22", "b"), -9.0))
    (night,) = read_nights([after, before]).nights
    assert [step.turned for step in night.account.steps] == [(0.5, 0.0), None]
    assert set(night.folders) == {before, after}


def test_another_place_is_not_compared(tmp_path: Path) -> None:
    there = turned_axis(measured("16T21"), 0.0, latitude_deg=48.0)
    assert read_nights([folder_with(tmp_path, measured("14T21"), there)]).shifts == (None,)


def test_a_folder_without_a_night_or_without_a_finding_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=NIGHT_FILE):
        read_nights([tmp_path])
    lone = RefusedEvent(time_utc="2026-11-14T21:31:00Z", version="1", inputs=["a"], reason="cloud")
    with pytest.raises(InputError, match="no finding"):
        read_nights([folder_with(tmp_path, lone)])


def test_a_mean_is_told_of_three_nights_and_steady_beyond_students_t() -> None:
    """Scatter of 1, 2, 3 is 1, of the mean 1/sqrt(3); t at 95 % and 2 degrees of freedom is 4.303 (tables of
    Student's t, from memory), so that 2.48 would be steady, and 2 is not.
    """
    assert MeanOverNights.of([1.0, 2.0]) is None
    mean = MeanOverNights.of([1.0, 2.0, 3.0])
    assert mean is not None
    assert (mean.value, mean.sigma, mean.scatter) == pytest.approx((2.0, 3**-0.5, 1.0))
    assert not mean.is_steady
    for middle, steady in ((2.45, False), (2.52, True), (-2.52, True)):
        moved = MeanOverNights.of([middle - 1, middle, middle + 1])
        assert moved is not None
        assert moved.is_steady == steady


def knobs_of(*gains: tuple[float, float], name: str = "azimuth") -> Nights:
    base = OneNight((Path(),), (), None)  # type: ignore[arg-type]
    learned = [(KeptKnob(name, g, s, "east", None),) for g, s in gains]  # type: ignore[arg-type]
    return Nights(tuple(OneNight(base.folders, (), base.account, knobs) for knobs in learned))


def test_gains_of_nights_are_weighed_by_their_sigmas() -> None:
    """Inverse variances: 50 +- 1 and 53 +- 2 give (50 + 53/4) / 1.25 = 50.6 +- 0.894."""
    (knob,) = knobs_of((50.0, 1.0), (53.0, 2.0)).knobs
    assert (knob.arcmin_per_turn, knob.sigma) == pytest.approx((50.6, 0.8944), abs=1e-4)
    assert (knob.nights, knob.agree) == (2, True)
    # chi squared of one degree of freedom exceeds 3.84 in 5 % (tables, from memory): 9 / (1 + 1) does, 7 / 2 does not
    assert not knobs_of((50.0, 1.0), (53.0, 1.0)).knobs[0].agree
    assert knobs_of((50.0, 1.0), (52.6, 1.0)).knobs[0].agree
    assert knobs_of((50.0, 1.0)).knobs[0].agree
    assert Nights(()).knobs == ()


def test_the_object_holds_every_event_and_the_last_error(tmp_path: Path) -> None:
    events = [measured("14T21"), turned("14T21", 0.5, 0.0), turned_axis(measured("16T21"), 6.0)]
    shown = NightSchema.of(read_nights([folder_with(tmp_path, *events)]))
    assert shown.events == events
    assert shown.error.total_arcmin == events[2].result.error.total_arcmin  # type: ignore[union-attr]
    assert shown.stands


@pytest.mark.parametrize(("later", "count"), [("14T20", 1), ("14T22", 2)])
def test_files_that_begin_more_than_twelve_hours_apart_are_two_nights(
    tmp_path: Path, later: str, count: int
) -> None:
    """As within a file."""
    one, other = (
        folder_with(tmp_path / "a", measured("14T09")),
        folder_with(tmp_path / "b", measured(later, "b")),
    )
    assert len(read_nights([one, other]).nights) == count


@pytest.mark.parametrize(("latitude_deg", "compared"), [(0.2, True), (0.3, False)])
def test_a_quarter_of_a_degree_is_another_place(tmp_path: Path, latitude_deg: float, compared: bool) -> None:
    """Nearer, the phone's place or the town's name was entered; farther, somebody drove (common practice, no source)."""
    first, second = measured("14T21"), measured("16T21")
    second = turned_axis(second, 0.0, first.result.site.latitude_deg + latitude_deg)
    (shift,) = read_nights([folder_with(tmp_path, first, second)]).shifts
    assert (shift is not None) is compared
