"""Each wrong rig file is told in one line, with its line number and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from polarcheck.errors import InputError
from tests.unit.rig.test_file import read

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


def test_keys_and_values_are_not_echoed_raw(tmp_path: Path) -> None:
    for text in ('[optics]\n"\\u001b[31m\\u202e" = 1', '[optics]\nfocal_length_mm = "\\u001b[31m\\u202e"'):
        with pytest.raises(InputError) as caught:
            read(tmp_path, text)
        assert str(caught.value).isprintable()
