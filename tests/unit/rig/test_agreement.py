"""A rig file against the frames: what is warned of, and what is near enough; numbers by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.rig import Rig, read_rig, rig_notices
from polarcheck.site import Site

FRAMES = Site(47.3, 11.2, 900.0, "header OBSGEO-B")


def rig(folder: Path, text: str) -> Rig:
    path = folder / "rig.toml"
    path.write_text(text, encoding="utf-8")
    return read_rig(path)


def codes(rig: Rig, scale: float | None = None, size: tuple[int, int] | None = None) -> list[str]:
    return [notice.code for notice in rig_notices(rig, FRAMES, scale, size)]


@pytest.mark.parametrize(
    ("latitude", "longitude", "said"),
    [
        (47.3, 11.2, []),
        (47.4, 11.3, []),
        (47.5, 11.2, []),
        (47.3, 11.7, ["rig-site"]),
        (-31.4, 20.6, ["rig-site"]),
    ],
)
def test_site_elsewhere_is_warned_of(
    tmp_path: Path, latitude: float, longitude: float, said: list[str]
) -> None:
    # 0.5 deg of longitude at latitude 47.3 are 0.34 deg
    assert codes(rig(tmp_path, f"[site]\nlatitude_deg = {latitude}\nlongitude_deg = {longitude}")) == said


def test_rig_file_of_the_other_hemisphere_reminds_of_the_sense(tmp_path: Path) -> None:
    southern = rig(tmp_path, "[site]\nlatitude_deg = -31.4\nlongitude_deg = 20.6")
    assert "check clockwise_moves" in rig_notices(southern, FRAMES)[0].text


@pytest.mark.parametrize(("focal", "said"), [(250, []), (260, []), (280, ["rig-scale"]), (25, ["rig-scale"])])
def test_scale_of_another_telescope_is_warned_of(tmp_path: Path, focal: float, said: list[str]) -> None:
    # 206.265 x 6 / 250 = 4.95 arcsec/px
    text = f"[optics]\nfocal_length_mm = {focal}\n[camera]\npixel_size_um = 6.0"
    assert codes(rig(tmp_path, text), 4.95) == said


def test_sensor_of_another_size_is_warned_of(tmp_path: Path) -> None:
    file = rig(tmp_path, "[camera]\nwidth_px = 1200\nheight_px = 900")
    assert codes(file, 4.95, (1200, 900)) == []
    assert codes(file, 4.95, (600, 450)) == ["rig-sensor"]


def test_empty_file_or_none_contradicts_nothing(tmp_path: Path) -> None:
    assert codes(rig(tmp_path, ""), 4.95, (600, 450)) == []
    assert rig_notices(None, FRAMES) == ()


@pytest.mark.parametrize(
    "text",
    [
        "[optics]\nfocal_length_mm = 0.25",
        "[camera]\npixel_size_um = 0.006",
        "[mount]\nworm_period_s = 0.1",
        "[mount]\nperiodic_error_arcsec = 90000",
        "[mount.azimuth]\ntravel_arcmin = 0.1",
        "[guiding]\noffset_deg = [60.0, 0.0]",
    ],
)
def test_value_in_another_unit_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(ValueError, match=r"must be (at least|at most)"):
        rig(tmp_path, text)
