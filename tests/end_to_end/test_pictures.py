"""A camera's pictures through the commands: the same answer as from FITS, and a zone that is stated, never guessed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from tests.commands import SAMPLES, answered, frames, refused, run, wrong
from tests.picture_files import ASCII, EXIF, PLACE, exif_block, write_dng, write_grey_tiff, write_png

SOLUTION = (
    "CTYPE1 CTYPE2 CUNIT1 CUNIT2 CRVAL1 CRVAL2 CRPIX1 CRPIX2 CD1_1 CD1_2 CD2_1 CD2_2 RADESYS EQUINOX".split()  # noqa: SIM905
)
KINDS = ["jpg", "png", "tif", "dng"]


def as_pictures(paths: list[Path], kind: str, **exif: Any) -> list[Path]:
    """Replace frames by pictures of the same pixels, solved, begun by a clock an hour ahead of UTC."""
    if kind == "dng":
        pytest.importorskip("rawpy")
    return [_as_picture(path, kind, exif) for path in paths]


def _as_picture(path: Path, kind: str, more: dict[str, Any]) -> Path:
    with fits.open(path) as content:
        header, counts = content[0].header, content[0].data.astype(np.uint16)
    picture = path.with_suffix(f".{kind}")
    middle = np.datetime64(header["DATE-AVG"] if "DATE-AVG" in header else header["DATE-OBS"])
    begin = middle + np.timedelta64(3600 - (2 if "DATE-AVG" in header else 0), "s")
    date, clock = str(begin.astype("datetime64[ms]")).split("T")
    exif = {**EXIF, 0x9003: (ASCII, f"{date.replace('-', ':')} {clock[:8]}"), 0x9291: (ASCII, clock[9:])}
    exif |= {int(name.removeprefix("tag_")): entry for name, entry in more.items()}
    if kind == "dng":
        write_dng(picture, counts, exif=exif, gps=PLACE)
    elif kind == "tif":
        write_grey_tiff(picture, counts, exif=exif, gps=PLACE)
    elif kind == "png":
        write_png(picture, counts, exif_block(exif, PLACE))
    else:
        _write_jpeg(picture, counts, exif_block(exif, PLACE))
    solution = fits.PrimaryHDU(None, fits.Header([header.cards[key] for key in SOLUTION if key in header]))
    solution.writeto(path.with_suffix(".wcs"))
    path.unlink()
    return picture


def _write_jpeg(path: Path, counts: Any, exif: bytes) -> None:
    from PIL import Image

    level = np.clip((counts - np.median(counts)) / 8.0 + 20, 0, 255).astype(np.uint8)
    Image.fromarray(level).convert("RGB").save(path, quality=90, exif=b"Exif\0\0" + exif)


@pytest.mark.parametrize("kind", KINDS)
def test_pictures_give_the_answer_of_the_fits_frames(tmp_path: Path, kind: str) -> None:
    paths = frames(tmp_path)
    like, _ = answered("measure", tmp_path)
    as_pictures(paths, kind)
    found, _ = answered("measure", tmp_path, "--zone", "+01:00")
    assert found["fit"]["frames_used"] == 3
    assert found["site"]["source"] == "EXIF GPS"
    for key in ("azimuth_arcmin", "altitude_arcmin"):
        assert found["error"][key] == pytest.approx(like["error"][key], abs=0.001)


def test_every_command_takes_pictures_with_their_zone(tmp_path: Path) -> None:
    paths = as_pictures(frames(tmp_path, 4), "jpg")
    kept = tmp_path / "kept.json"
    answered("measure", *paths[:3], "--zone", "+01:00", "--out", kept)
    followed, _ = answered("follow", kept, paths[3], "--zone", "+01:00")
    assert followed["schema"] == "polarcheck.follow/1"
    assert "names no time zone" in refused("follow", kept, paths[3])
    answered("stars", *paths)
    exposure = [
        "--target",
        "M31",
        "--at",
        "2026-11-14T22:00:00",
        "--focal-length",
        "250",
        "--pixel-size",
        "6",
        "--sensor",
        "120x90",
    ]
    answered("exposure", tmp_path, "--zone", "+01:00", *exposure)


def test_drift_is_checked_against_pictures(tmp_path: Path) -> None:
    """A mount that merely tracks: 15.041 deg an hour, a picture every ten minutes."""
    (tmp_path / "field").mkdir()
    angles = [10 + i * 15.041 / 6 for i in range(4)]
    as_pictures(frames(tmp_path / "field", axis_angles_deg=angles, cadence_s=600.0), "tif")
    stated = ("--error", "23.4,-11.8", "--site", "47.3,11.2,900", "--check", tmp_path / "field")
    found, _ = answered("drift", *stated, "--zone", "+01:00")
    assert len(found["frames"]) == 4
    assert "names no time zone" in refused("drift", *stated)


def test_kept_result_knows_the_zone_when_the_frame_is_looked_at_again(tmp_path: Path) -> None:
    paths = as_pictures(frames(tmp_path), "tif")
    kept = tmp_path / "kept.json"
    answered("measure", *paths, "--zone", "Europe/Vienna", "--out", kept)
    assert '"zone": "Europe/Vienna"' in kept.read_text(encoding="utf-8")
    corrected, _ = answered("correct", kept)
    assert "zone" not in str(corrected["star_target_reason"])


def test_rig_file_states_the_zone(tmp_path: Path) -> None:
    as_pictures(frames(tmp_path), "jpg")
    (tmp_path / "rig.toml").write_text('[camera]\nzone = "Europe/Vienna"\n', encoding="utf-8")
    found, _ = answered("measure", tmp_path)
    assert found["epoch_utc"].startswith("2026-11-14T21:1")
    option, _ = answered("measure", tmp_path, "--zone", "+02:00")
    assert option["epoch_utc"].startswith("2026-11-14T20:1")


def test_without_a_zone_there_is_no_answer_but_how_to_state_it(tmp_path: Path) -> None:
    as_pictures(frames(tmp_path), "jpg")
    said = refused("measure", tmp_path)
    assert "names no time zone" in said
    assert "--zone ZONE" in said
    assert "is no time zone" in wrong("measure", tmp_path, "--zone", "Nowhere")


def test_zone_in_exif_needs_no_word(tmp_path: Path) -> None:
    as_pictures(frames(tmp_path), "jpg", tag_36881=(ASCII, "+01:00"))
    found, said = answered("measure", tmp_path)
    assert found["epoch_utc"].startswith("2026-11-14T21:1")
    assert "zone" not in said


def test_wrong_zone_is_said_to_stay_unseen_or_is_refused(tmp_path: Path) -> None:
    as_pictures(frames(tmp_path), "jpg")
    hour, said = answered("measure", tmp_path, "--zone", "+02:00")
    assert "zone-stated" in {warning["code"] for warning in hour["warnings"]}
    assert "an hour off either way would not show" in said
    assert "the Sun stood" in refused("measure", tmp_path, "--zone", "+10:00")


def test_raw_file_goes_before_its_picture_and_previews_stay_out(tmp_path: Path) -> None:
    paths = frames(tmp_path)
    copies = [path.with_name(f"copy_{path.name}") for path in paths]
    for path, copy in zip(paths, copies, strict=True):
        copy.write_bytes(path.read_bytes())
    as_pictures(paths, "dng")
    for copy in as_pictures(copies, "jpg"):
        copy.with_suffix(".wcs").unlink()
        copy.rename(copy.with_name(copy.name.removeprefix("copy_")))
    (tmp_path / "drawing.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    found, _ = answered("measure", tmp_path, "--zone", "+01:00")
    files = {entry["file"]: entry["reason"] for entry in found["frames"]}
    assert found["fit"]["frames_used"] == 3
    assert "drawing.png" not in files
    assert all(name.endswith((".dng", ".wcs", ".jpg")) for name in files)
    assert all("is a picture of" in str(why) for name, why in files.items() if name.endswith(".jpg"))


def test_a_folder_of_wrecks_gives_one_line_each(tmp_path: Path) -> None:
    good = as_pictures(frames(tmp_path), "jpg")
    whole = good[0].read_bytes()
    for name, content in {
        "empty.jpg": b"", "cut.jpg": whole[: len(whole) // 2], "text.png": b"notes on the night",
        "zeros.cr2": b"\0" * 4000, "letters.tif": b"II*\0" + b"A" * 4000,
    }.items():  # fmt: skip
        (tmp_path / name).write_bytes(content)
    result = run("measure", *sorted(tmp_path.iterdir()), "--zone", "+01:00", "--json")
    assert result.exit_code == 0, result.output
    left = {f["file"]: f["reason"] for f in json.loads(result.stdout)["frames"] if not f["used"]}
    assert {"empty.jpg", "cut.jpg", "text.png", "zeros.cr2", "letters.tif"} <= set(left)
    assert all(reason and "\n" not in reason and len(reason) < 250 for reason in left.values())


def test_solved_copy_of_a_picture_is_its_solution_since_it_has_no_time(tmp_path: Path) -> None:
    """A solver that is given `x.jpg` leaves `x.wcs`, `x.new` (a FITS image without EXIF's time), or both."""
    pictures = as_pictures(frames(tmp_path), "jpg")
    for picture in pictures:
        solution = fits.getheader(picture.with_suffix(".wcs"))
        fits.PrimaryHDU(np.zeros((3, 90, 120), np.uint8), solution).writeto(picture.with_suffix(".new"))
    for only in (False, True):
        found, _ = answered("measure", tmp_path, "--zone", "+01:00")
        assert [f["file"] for f in found["frames"] if f["used"]] == [path.name for path in pictures]
        for picture in pictures if not only else []:
            picture.with_suffix(".wcs").unlink()


def test_stars_of_a_developed_picture_are_said_to_look_wider(tmp_path: Path) -> None:
    jpeg, tif = tmp_path / "jpeg", tmp_path / "tif"
    for folder in (jpeg, tif):
        folder.mkdir()
        as_pictures(frames(folder), "jpg" if folder is jpeg else "tif")
    assert "tone-curve" in {warning["code"] for warning in answered("stars", jpeg)[0]["warnings"]}
    assert "tone-curve" not in {warning["code"] for warning in answered("stars", tif)[0]["warnings"]}


def test_widths_of_the_sample_jpegs_are_larger_by_the_third_that_is_said() -> None:
    """2.5 px were rendered (sample_frames/rendering.py)."""
    found, _ = answered("stars", SAMPLES / "jpeg_sweep")
    widths = [frame["fwhm_px"] for frame in found["frames"]]
    assert len(widths) == 8
    assert np.median(widths) / 2.5 == pytest.approx(4 / 3, abs=0.06)


@pytest.mark.parametrize(
    ("seconds", "turn_deg", "part"),
    [(1, 0.004, 0.00007), (30, 0.13, 0.0022), (60, 0.25, 0.0044), (240, 1.0, 0.017)],
)
def test_what_a_clock_costs_is_what_the_documentation_says(
    seconds: float, turn_deg: float, part: float
) -> None:
    """The sky turns by 15.041 arcsec a second (IERS Conventions 2010, from memory); so does an axis that is fixed in it."""
    assert np.tan(np.radians(15.041 * seconds / 3600)) == pytest.approx(part, rel=0.06)
    assert 15.041 * seconds / 3600 == pytest.approx(turn_deg, rel=0.06)
    right, wrong_clock = (
        answered("measure", SAMPLES / "north_sweep", "--clock-ahead", f"{ahead}s")[0]["error"]
        for ahead in (0, seconds)
    )
    moved = np.hypot(
        wrong_clock["azimuth_on_sky_arcmin"] - right["azimuth_on_sky_arcmin"],
        wrong_clock["altitude_arcmin"] - right["altitude_arcmin"],
    )
    assert moved / right["total_arcmin"] == pytest.approx(part, rel=0.1)
