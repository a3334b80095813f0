"""The rig file: good ones read right, each wrong one told in one line with its line number."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.rig.file import Knob, Rig, read_rig

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


KNOB = "[mount.azimuth]\nthread_pitch_mm = 1.25\nlever_mm = 70\n"
WRONG = {
    # unknown keys, with the nearest right one
    "[optics]\nfocal_lenght_mm = 250": "line 2: unknown key optics.focal_lenght_mm; did you mean focal_length_mm?",
    "[optics]\n\nfocal_length = 250": "line 3: unknown key optics.focal_length; did you mean focal_length_mm?",
    "[optic]\nfocal_length_mm = 250": "line 1: unknown key optic; did you mean optics?",
    "[camera]\npixelsize = 6": "line 2: unknown key camera.pixelsize; did you mean pixel_size_um?",
    "[mount.azimut]\nlever_mm = 70": "line 1: unknown key mount.azimut; did you mean azimuth?",
    "[site]\nlat = 47.3\nlon = 11.2": "line 2: unknown key site.lat; did you mean latitude_deg?",
    "focal_length_mm = 250": "line 1: unknown key focal_length_mm; did you mean focal_length_mm in [optics]?",
    "[camera]\nwidth_px = 1200\n[optics]\nwidth_px = 7": "line 4: unknown key optics.width_px; "
    "did you mean width_px in [camera]?",
    "[mount]\nclockwise_moves = 'east'": "line 2: unknown key mount.clockwise_moves; "
    "did you mean clockwise_moves in [mount.azimuth]?",
    "[optics]\nzzz = 1": "line 2: unknown key optics.zzz; known here: focal_length_mm",
    # other kinds of value
    "[optics]\nfocal_length_mm = '250'": "line 2: optics.focal_length_mm must be a number, not '250'",
    "[optics]\nfocal_length_mm = true": "line 2: optics.focal_length_mm must be a number, not true",
    "[optics]\nfocal_length_mm = 2026-11-14": "line 2: optics.focal_length_mm must be a number, not 2026-11-14",
    "[optics]\nfocal_length_mm = nan": "line 2: optics.focal_length_mm must be a finite number, not nan",
    "[camera]\nwidth_px = 1200.5": "line 2: camera.width_px must be a whole number, not 1200.5",
    "[guiding]\noffset_deg = 0.1": "line 2: guiding.offset_deg must be a list of two numbers, not 0.1",
    "[guiding]\noffset_deg = [0.1]": "line 2: guiding.offset_deg must be a list of two numbers, not [0.1]",
    "[guiding]\noffset_deg = [0.1, 'x']": "line 2: guiding.offset_deg must be a number, not 'x'",
    "optics = 5": "line 1: optics is a table with keys of its own, not 5",
    "[[optics]]\nfocal_length_mm = 250": "line 1: optics is a table with keys of its own",
    "[mount]\nazimuth = 5": "line 2: mount.azimuth is a table with keys of its own, not 5",
    # impossible values
    "[optics]\nfocal_length_mm = 0": "line 2: optics.focal_length_mm must be at least 4, not 0",
    "[camera]\n# binned\npixel_size_um = 600": "line 3: camera.pixel_size_um must be at most 100, not 600",
    "[camera]\nzone = 'Nowhere'": "line 2: camera.zone: 'Nowhere' is no time zone",
    "[camera]\nheight_px = 4": "line 2: camera.height_px must be at least 16, not 4",
    "[mount]\nworm_period_s = 0": "line 2: mount.worm_period_s must be at least 5, not 0",
    "[mount]\nperiodic_error_arcsec = -1": "line 2: mount.periodic_error_arcsec must be at least 0, not -1",
    "[mount.azimuth]\narcmin_per_turn = -60": "line 2: mount.azimuth.arcmin_per_turn must be above 0, not -60",
    f"{KNOB}[mount.altitude]\nbacklash_turns = -1": "line 5: mount.altitude.backlash_turns must be at least 0",
    f"{KNOB}[mount.altitude]\nlever_mm = 0.07\nthread_pitch_mm = 1": "line 5: mount.altitude.lever_mm = 0.07 is "
    "not within 1 to 5000",
    "[mount.azimuth]\nlever_mm = 70": "line 1: mount.azimuth: thread_pitch_mm and lever_mm belong together",
    "[mount.azimuth]\nclockwise_moves = 'up'": 'line 2: mount.azimuth.clockwise_moves must be "east" or',
    "[mount.altitude]\nclockwise_moves = 'east'": 'line 2: mount.altitude.clockwise_moves must be "up" or',
    "[mount.altitude]\nclockwise_moves = 'left'": "line 2: mount.altitude.clockwise_moves must be 'east', 'west', "
    "'up' or 'down', not 'left'",
    "[site]\nlatitude_deg = 91\nlongitude_deg = 0": "line 2: site.latitude_deg must be at most 90, not 91",
    "[site]\nlatitude_deg = 47.3\nlongitude_deg = 500": "line 3: site.longitude_deg must be at most 360, not 500",
    "[site]\nlatitude_deg = nan\nlongitude_deg = 0": "line 2: site.latitude_deg must be at most 90, not nan",
    "[site]\nlongitude_deg = 11.2": "line 1: site.latitude_deg is missing",
    # written otherwise
    "mount.azimuth.lever_mm = 'x'": "line 1: mount.azimuth.lever_mm must be a number, not 'x'",
    "mount = {azimuth = {lever_mm = 'x'}}": "line 1: mount.azimuth.lever_mm must be a number, not 'x'",
    # no TOML
    "[optics\nfocal_length_mm = 250": "no valid TOML: Expected ']' at the end of a table declaration (at line 1",
    "[optics]\nfocal_length_mm = 250 mm": "no valid TOML: ",
    "[optics]\nfocal_length_mm = 1\nfocal_length_mm = 2": "no valid TOML: Cannot overwrite a value",
    "a = " + "[" * 5000: "no valid TOML: ",
}


@pytest.mark.parametrize(("text", "said"), WRONG.items(), ids=[repr(text)[:50] for text in WRONG])
def test_wrong_file_is_told_in_one_line_with_its_line_number(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    message = str(caught.value)
    assert message.startswith(f"{tmp_path / 'rig.toml'}: ")
    assert said in message
    assert "\n" not in message
    assert "input should" not in message.lower()


@pytest.mark.parametrize(
    ("key", "least", "most"),
    [
        ("arcmin_per_turn", 0.01, 21_600.0),  # a whole circle
        ("arcmin_per_turn_sigma", 0.0001, 21_600.0),
        ("thread_pitch_mm", 0.05, 50.0),  # ISO 261 has coarse pitches from 0.25 (M1) to 6 (M64)
        ("lever_mm", 1.0, 5000.0),
        ("smallest_turn", 0.0001, 1.0),
        ("backlash_turns", 0.0, 100.0),
    ],
)
def test_value_of_a_knob_in_another_unit_is_refused(
    tmp_path: Path, key: str, least: float, most: float
) -> None:
    """Beyond what any knob has; common practice, no source."""
    pair = {"thread_pitch_mm": "lever_mm = 70\n", "lever_mm": "thread_pitch_mm = 1\n"}
    pair["arcmin_per_turn_sigma"] = "arcmin_per_turn = 60\n"

    def said(value: float) -> str:
        try:
            read(tmp_path, f"[mount.azimuth]\n{pair.get(key, '')}{key} = {value:.6f}\n")
        except InputError as error:
            return str(error)
        return ""

    assert (said(1.2 * least), said(0.8 * most)) == ("", "")
    assert "is not within" in said(1.2 * most)
    assert least == 0 or "is not within" in said(0.8 * least)


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


def test_keys_and_values_are_not_echoed_raw(tmp_path: Path) -> None:
    for text in ('[optics]\n"\\u001b[31m\\u202e" = 1', '[optics]\nfocal_length_mm = "\\u001b[31m\\u202e"'):
        with pytest.raises(InputError) as caught:
            read(tmp_path, text)
        assert str(caught.value).isprintable()


@pytest.mark.parametrize("raw", [b"\xff\xfe[\x00o\x00", b"[optics]\n# f\xfcr gr\xfcn\n"])
def test_other_encoding_is_said(raw: bytes, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no UTF-8 text"):
        read(tmp_path, raw)


def test_missing_file_and_folder_are_named_whole(tmp_path: Path) -> None:
    for path in (tmp_path / "gone.toml", tmp_path):
        with pytest.raises(InputError, match="cannot be read") as caught:
            read_rig(path)
        assert str(caught.value).startswith(str(path))
