"""What the frames show of their camera serves for what nobody states."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.frames import Sensor
from polarcheck.outlook.optics import optics_from, parse_tolerance, seen_notices
from polarcheck.rig import Rig, read_rig

SEEN = Sensor(1200, 900, 4.95, mirrored=False)


def rig(folder: Path, text: str) -> Rig:
    path = folder / "rig.toml"
    path.write_text(text, encoding="utf-8")
    return read_rig(path)


def test_frames_serve_where_nothing_is_stated() -> None:
    found = optics_from(None, seen=SEEN)
    assert (found.pixel_scale_arcsec, found.width_px, found.height_px) == (4.95, 1200, 900)
    (notice,) = seen_notices(found, None, False, SEEN)
    assert notice.code == "optics-of-frames"
    assert "4.95 arcsec a pixel, 1200 x 900 px" in notice.text


def test_what_is_stated_goes_before_the_frames(tmp_path: Path) -> None:
    # 206265 arcsec in a radian times 3.8 um over 500 mm: 1.568 arcsec (textbook formula)
    stated = optics_from(None, focal_length_mm=500, pixel_size_um=3.8, seen=SEEN)
    assert stated.pixel_scale_arcsec == pytest.approx(1.5676, abs=1e-3)
    assert (stated.width_px, stated.height_px) == (1200, 900)
    assert optics_from(None, sensor_px=(600, 400), seen=SEEN).width_px == 600
    known = rig(tmp_path, "[optics]\nfocal_length_mm = 500\n[camera]\npixel_size_um = 3.8\n")
    found = optics_from(known, seen=SEEN)
    assert found.pixel_scale_arcsec == pytest.approx(1.5676, abs=1e-3)
    assert seen_notices(found, known, False, SEEN) == ()
    assert seen_notices(stated, None, True, SEEN) == ()


def test_half_of_a_statement_is_no_statement() -> None:
    """A focal length without a pixel size must not be passed over for the frames' scale."""
    with pytest.raises(InputError, match="pixel size"):
        optics_from(None, focal_length_mm=500, seen=SEEN)
    with pytest.raises(InputError, match="focal length, pixel size, sensor"):
        optics_from(None)


def test_a_tolerance_is_at_most_ten_thousand() -> None:
    """More pixels than any sensor has along a side that a star could cross (common practice, no source)."""
    assert parse_tolerance("9999px", 2.0) == pytest.approx(19998.0)
    with pytest.raises(InputError, match="more than 10000"):
        parse_tolerance("10001px", 2.0)
