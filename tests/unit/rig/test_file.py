"""The rig file: good ones read right, others refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.rig.file import Rig, read_rig
from polarcheck.rig.tables import Knob

WHOLE = """
[optics]
focal_length_mm = 250

[camera]
pixel_size_um = 6.0
width_px = 1200
height_px = 900

[guiding]
offset_deg = [0.3, -0.1]

[mount]
periodic_error_arcsec = 24
worm_period_s = 480.0

[mount.azimuth]
arcmin_per_turn = 61.4
clockwise_moves = "east"
backlash_turns = 0.05

[mount.altitude]
thread_pitch_mm = 1.25
lever_mm = 60
clockwise_moves = "up"
smallest_turn = 0.02

[site]
latitude_deg = -31.4
longitude_deg = 20.6
height_m = 1200
"""


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "rig.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(folder: Path, text: str | bytes) -> Rig:
    return read_rig(written(folder, text))


def test_every_value_of_a_whole_file_is_read(tmp_path: Path) -> None:
    rig = read(tmp_path, WHOLE)
    assert rig.path == tmp_path / "rig.toml"
    assert rig.optics.focal_length_mm == 250
    assert (rig.camera.pixel_size_um, rig.camera.width_px, rig.camera.height_px) == (6.0, 1200, 900)
    assert rig.guiding.offset_deg == [0.3, -0.1]
    assert (rig.mount.periodic_error_arcsec, rig.mount.worm_period_s) == (24, 480)
    assert rig.mount.azimuth == Knob(arcmin_per_turn=61.4, clockwise_moves="east", backlash_turns=0.05)
    assert rig.mount.altitude == Knob(
        thread_pitch_mm=1.25, lever_mm=60, clockwise_moves="up", smallest_turn=0.02
    )
    assert rig.site is not None
    assert (rig.site.latitude_deg, rig.site.longitude_deg, rig.site.height_m) == (-31.4, 20.6, 1200)
    assert rig.site.source == "rig file rig.toml"
    assert not rig.site.is_north


def test_empty_file_says_nothing(tmp_path: Path) -> None:
    rig = read(tmp_path, "")
    assert rig.optics.focal_length_mm is None
    assert (rig.mount.azimuth, rig.mount.altitude, rig.site, rig.pixel_scale_arcsec) == (None,) * 4


@pytest.mark.parametrize(
    ("pixel_um", "focal_mm", "scale"),
    # small angle: an arcsecond is 1 / 206264.8 radian, so 1 um at 1 mm is 206.265 arcsec; multiplied by hand
    [(6.0, 250, 4.95036), (3.76, 600, 1.292594), (1.0, 1000, 0.206265), (100.0, 50000, 0.41253)],
)
def test_image_scale_is_206_265_times_micrometres_over_millimetres(
    pixel_um: float, focal_mm: float, scale: float, tmp_path: Path
) -> None:
    text = f"[optics]\nfocal_length_mm = {focal_mm}\n[camera]\npixel_size_um = {pixel_um}\n"
    assert read(tmp_path, text).pixel_scale_arcsec == pytest.approx(scale, rel=2e-6)


@pytest.mark.parametrize("given", ["[optics]\nfocal_length_mm = 250", "[camera]\npixel_size_um = 6"])
def test_half_of_what_a_scale_needs_gives_none(given: str, tmp_path: Path) -> None:
    assert read(tmp_path, given).pixel_scale_arcsec is None


@pytest.mark.parametrize(
    "text",
    [
        b"\xef\xbb\xbf[optics]\nfocal_length_mm = 250",  # a byte order mark, as some editors write
        b"[optics]\r\nfocal_length_mm = 250\r\n",
        b"optics.focal_length_mm = 250",
        b"optics = {focal_length_mm = 250.0}",
        "# brennweite: 250 mm, gemessen für grün\n[optics]\nfocal_length_mm = 2.5e2".encode(),
    ],
)
def test_toml_however_it_is_written(text: bytes, tmp_path: Path) -> None:
    assert read(tmp_path, text).optics.focal_length_mm == 250


@pytest.mark.parametrize(("size", "is_read"), [(600_000, True), (1_500_000, False)])
def test_rig_file_has_room_for_remarks_and_is_no_other_large_file(
    tmp_path: Path, size: int, is_read: bool
) -> None:
    """A horizon of 720 points takes 15 kB; ten thousand lines of remarks half a megabyte."""
    text = "# a remark of the user's, as long as remarks are\n" * (size // 49)
    if is_read:
        assert read(tmp_path, text).optics.focal_length_mm is None
    else:
        with pytest.raises(InputError, match="too large for a rig file"):
            read(tmp_path, text)


@pytest.mark.parametrize("raw", [b"\xff\xfe[\x00o\x00", b"[optics]\n# f\xfcr gr\xfcn\n"])
def test_other_encoding_is_said(raw: bytes, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no UTF-8 text"):
        read(tmp_path, raw)


def test_missing_file_and_folder_are_named_whole(tmp_path: Path) -> None:
    for path in (tmp_path / "gone.toml", tmp_path):
        with pytest.raises(InputError, match="cannot be read") as caught:
            read_rig(path)
        assert str(caught.value).startswith(str(path))
