"""`stars` as it is typed: what it says of drawn frames, and of files that hold no stars or no pixels."""

from __future__ import annotations

import gzip
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from astropy.io import fits

from tests.commands import answered, refused, run, wrong
from tests.drawn_stars import draw
from tests.fits_files import SCALE_DEG, TAN

SHAPE = (500, 700)
SVG = "{http://www.w3.org/2000/svg}"
PATTERN = "GRBG"


def counts(fwhm: float = 3.0, **how: object) -> np.ndarray:
    return np.clip(draw(SHAPE, 40, fwhm, **how)[0], 0, 65535).round().astype(np.uint16)


def save(path: Path, pixels: np.ndarray, **cards: object) -> Path:
    fits.PrimaryHDU(pixels, fits.Header(cards)).writeto(path)
    return path


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three frames of which the second was taken while the mount moved; the third is solved."""
    folder = tmp_path_factory.mktemp("night")
    save(folder / "a_1.fits", counts(seed=1))
    save(folder / "a_2.fits", counts(seed=2, trail=9.0, angle=120.0))
    save(folder / "a_3.fits", counts(seed=3), **TAN)
    return folder


def test_keys_are_those_that_scripts_rely_on(night: Path) -> None:
    answer, said = answered("stars", night)
    assert answer["schema"] == "polarcheck.stars/1"
    keys = {"file", "stars", "fwhm_px", "fwhm_arcsec", "elongation", "trail_angle_deg", "trail_px"}
    assert all(keys <= set(frame) for frame in answer["frames"])
    assert [frame["file"] for frame in answer["frames"]] == ["a_1.fits", "a_2.fits", "a_3.fits"]
    assert [warning["code"] for warning in answer["warnings"]] == ["moved-while-exposed"]
    assert "a_2.fits" in said


def test_frame_that_moved_is_told_from_the_others(night: Path) -> None:
    first, moved, solved = answered("stars", night)[0]["frames"]
    assert [frame["mount_moved"] for frame in (first, moved, solved)] == [False, True, False]
    assert moved["trail_px"] == pytest.approx(9.0, rel=0.05)
    assert moved["trail_angle_deg"] == pytest.approx(120.0, abs=3.0)
    assert (first["trail_px"], first["trail_angle_deg"], first["fwhm_arcsec"]) == (None, None, None)
    # FITS Standard 4.0, section 8: CD in degrees a pixel
    assert solved["fwhm_arcsec"] == pytest.approx(solved["fwhm_px"] * SCALE_DEG * 3600, rel=1e-3)


def test_text_fits_eighty_columns_and_says_what_to_do(night: Path) -> None:
    text = run("stars", night).stdout
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "a_2.fits: the mount still moved" in " ".join(text.split())
    assert re.search(r"a_2\.fits .* 9\.0 +120$", text, re.MULTILINE)
    assert "Over the sensor" in text


def test_picture_is_written_and_marks_the_frame_that_moved(night: Path, tmp_path: Path) -> None:
    picture = tmp_path / "stars.svg"
    assert run("stars", night, "--plot", picture).exit_code == 0
    assert ElementTree.parse(picture).getroot().tag == f"{SVG}svg"
    assert "taken while the mount moved" in picture.read_text(encoding="utf-8")
    assert "must end in" in wrong("stars", night, "--plot", tmp_path / "stars.fits")


@pytest.mark.parametrize("ending", [".fits.gz", ".fits.fz", "planes.fits", "extension.fits"])
def test_forms_of_files(tmp_path: Path, ending: str) -> None:
    pixels, path = counts(seed=4), tmp_path / f"a{ending}"
    if ending.endswith("fz"):
        fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(pixels)]).writeto(path)
    elif ending.startswith("extension"):
        fits.HDUList([fits.PrimaryHDU(), fits.ImageHDU(pixels)]).writeto(path)
    elif ending.startswith("planes"):
        save(path, np.stack([pixels, pixels // 2, pixels // 3]))
    else:
        save(tmp_path / "plain", pixels)
        path.write_bytes(gzip.compress((tmp_path / "plain").read_bytes()))
    (frame,) = answered("stars", path)[0]["frames"]
    assert frame["fwhm_px"] == pytest.approx(3.0, rel=0.03)
    assert 36 <= frame["stars"] <= 40


def test_colour_mosaic_is_known_by_its_header_or_its_sky(tmp_path: Path) -> None:
    """Red stars: taken for one plane, every other pixel that stays dark would spoil them."""
    tint, level = np.ones(SHAPE), np.zeros(SHAPE)
    for k, letter in enumerate(PATTERN):
        i, j = divmod(k, 2)
        tint[i::2, j::2] = {"R": 1.0, "G": 0.4, "B": 0.2}[letter]
        level[i::2, j::2] = {"R": 400.0, "G": 900.0, "B": 100.0}[letter]
    pixels = (counts(seed=5, tint=tint, peak=(3000.0, 30_000.0)) + level).astype(np.uint16)
    save(tmp_path / "said.fits", pixels, BAYERPAT=PATTERN)
    # the pattern read from its second column: common practice, no source
    save(tmp_path / "shifted.fits", pixels, BAYERPAT="RGGB", XBAYROFF=1)
    save(tmp_path / "unsaid.fits", pixels)
    said, shifted, unsaid = answered("stars", tmp_path)[0]["frames"]
    for frame in (said, shifted, unsaid):
        assert frame["fwhm_px"] == pytest.approx(3.0, rel=0.03)
        assert frame["elongation"] == pytest.approx(1.0, abs=0.05)
        assert 36 <= frame["stars"] <= 40


def test_file_that_is_no_frame_is_listed_with_its_reason(night: Path, tmp_path: Path) -> None:
    good = (night / "a_1.fits").read_bytes()
    (tmp_path / "a.fits").write_bytes(good)
    (tmp_path / "b_cut.fits").write_bytes(good[: len(good) // 2])
    (tmp_path / "c_words.fits").write_text("cold tonight")
    (tmp_path / "d_none.fits").write_bytes(b"")
    save(tmp_path / "e_small.fits", np.zeros((5, 9), np.uint8))
    save(tmp_path / "f_last.fits", np.zeros((90, 80, 3), np.uint8))
    answer, _ = answered("stars", tmp_path)
    reasons = {frame["file"]: frame["reason"] for frame in answer["frames"]}
    assert reasons.pop("a.fits") is None
    assert "not whole" in reasons["b_cut.fits"]
    assert "not a FITS file" in reasons["c_words.fits"]
    assert "is empty" in reasons["d_none.fits"]
    assert "too small" in reasons["e_small.fits"]
    assert "NAXIS1" in reasons["f_last.fits"]
    assert [warning["code"] for warning in answer["warnings"]] == ["not-measured"]
    assert "Not measured: 5" in run("stars", tmp_path).stdout


def test_nothing_that_can_be_measured_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.fits").write_text("cold tonight")
    said = refused("stars", tmp_path)
    assert "a.fits" in said
    assert "there is no file or folder" in refused("stars", tmp_path / "gone")


@pytest.mark.parametrize("value", [0.0, np.nan, np.inf, 1e300])
def test_frame_without_stars_says_unknown(tmp_path: Path, value: float, capfd: pytest.CaptureFixture) -> None:
    save(tmp_path / "a.fits", np.full((60, 80), value))
    (frame,) = answered("stars", tmp_path)[0]["frames"]
    assert (frame["stars"], frame["fwhm_px"], frame["elongation"], frame["trail_px"]) == (0, None, None, None)
    assert "unknown" in run("stars", tmp_path).stdout
    assert capfd.readouterr().err == ""  # no library's own warnings


@pytest.mark.parametrize(
    "cards",
    [
        {"BAYERPAT": "RGGB", "XBAYROFF": "x", "YBAYROFF": 1e30},
        {"BAYERPAT": 5, "SATURATE": "many", "DATAMAX": -4.0},
        {"COLORTYP": "purple", "XBINNING": "two"},
    ],
)
def test_odd_cards_about_pixels_tell_nothing(tmp_path: Path, cards: dict[str, object]) -> None:
    save(tmp_path / "a.fits", counts(seed=6), **cards)
    assert answered("stars", tmp_path)[0]["frames"][0]["fwhm_px"] == pytest.approx(3.0, rel=0.03)


def test_level_of_saturation_said_in_the_header_counts(tmp_path: Path) -> None:
    save(tmp_path / "a.fits", counts(seed=7, peak=(5000.0, 30_000.0)))
    save(tmp_path / "b.fits", counts(seed=7, peak=(5000.0, 30_000.0)), SATURATE=9000.0)
    every, few = answered("stars", tmp_path)[0]["frames"]
    assert few["stars"] == every["stars"]
    assert 0 < few["shaped_stars"] < 0.8 * every["shaped_stars"]


def test_solution_and_copy_of_a_frame_are_not_measured_again(tmp_path: Path) -> None:
    save(tmp_path / "a.fits", counts(seed=8))
    save(tmp_path / "a.new", counts(seed=8), **TAN)
    solution = {**TAN, "IMAGEW": SHAPE[1], "IMAGEH": SHAPE[0]}
    save(tmp_path / "b.fits", counts(seed=9))
    fits.PrimaryHDU(None, fits.Header(solution)).writeto(tmp_path / "b.wcs")
    first, second = answered("stars", tmp_path)[0]["frames"]
    assert (first["file"], second["file"]) == ("a.new", "b.fits")
    assert first["fwhm_arcsec"] is not None
    assert second["fwhm_arcsec"] == pytest.approx(second["fwhm_px"] * SCALE_DEG * 3600, rel=1e-3)


def test_frames_of_equal_names_are_told_apart(tmp_path: Path) -> None:
    for folder in ("east", "west"):
        (tmp_path / folder).mkdir()
        save(tmp_path / folder / "a.fits", counts(seed=10))
    names = [frame["file"] for frame in answered("stars", tmp_path, "--recursive")[0]["frames"]]
    assert names == ["east/a.fits", "west/a.fits"]
