"""Names and headers that would steer a terminal or a page, and bytes changed at random.

`tests.commands.run` checks stdout and stderr of every run for control and steering characters (Unicode Standard,
general categories Cc, Cf, Cs, Co, Cn, Zl, Zp), and that no run ends in a fault of the program.
"""

from __future__ import annotations

import sys
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from tests.commands import (
    ERROR,
    answered,
    change,
    frames,
    overwrite,
    refused,
    run,
    steering,
    strict_json,
    texts,
)

ESCAPE = "\x1b[31m"
OVERRIDE = "\N{RIGHT-TO-LEFT OVERRIDE}"
MARKUP = "<script>alert(1)</script>&"
NAMES = [f"red{ESCAPE}.fits", f"{OVERRIDE}stif.fits", "two\nlines.fits", "bell\a.fits", "line\u2028.fits"]

no_windows = pytest.mark.skipif(sys.platform == "win32", reason="such names cannot be made there")


@no_windows
@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_file_name_is_escaped_wherever_it_is_shown(name: str, tmp_path: Path) -> None:
    paths = frames(tmp_path)
    paths[0].rename(tmp_path / name)
    change(paths[2], CTYPE1=None, CTYPE2=None).rename(tmp_path / f"z{name}")
    picture = tmp_path / "axis.svg"
    result, _ = answered("measure", tmp_path, "--plot", picture)
    assert not any(steering(text) or "\n" in text for text in texts(result))
    assert any("\\" in frame["file"] for frame in result["frames"])
    assert run("measure", tmp_path).exit_code == 0
    assert not steering(picture.read_text(encoding="utf-8"))
    for path in tmp_path.glob("s*.fits"):
        path.unlink()
    assert "\\" in refused("measure", tmp_path)


@no_windows
def test_file_name_that_is_no_utf_8(tmp_path: Path) -> None:
    paths = frames(tmp_path)
    try:
        paths[0].rename(tmp_path / "a\udcff.fits")
    except (OSError, UnicodeError):
        pytest.skip("this file system takes UTF-8 only")
    result, _ = answered("measure", tmp_path)
    assert result["frames"][0]["file"] == "a\\udcff.fits"


@no_windows
def test_path_typed_with_control_characters(tmp_path: Path) -> None:
    assert "\\x1b" in refused("measure", tmp_path / f"no{ESCAPE}")
    assert "\\x1b" in refused("measure", tmp_path / f"no{ESCAPE}*.fits")


@pytest.mark.parametrize(
    ("keyword", "card"),
    [
        ("DATE-OBS", b"DATE-OBS= '2026\x1b[31m'"),
        ("DATE-OBS", b"DATE-OBS= '\xe2\x80\xae2026'"),
        ("TIMESYS", b"TIMESYS = '\x1b]0;owned\x07'"),
        ("CTYPE1", b"CTYPE1  = 'RA---\x1b[2J'"),
        ("RADESYS", b"RADESYS = '\x9b31m'"),
        ("OBSGEO-B", b"OBSGEO-B= '\x1b[31m47'"),
        ("EXPTIME", b"EXPTIME = '\r\n5'"),
        ("OBJECT", b"OBJECT  = '\x1b[31m<b>'"),
        ("CRVAL1", b"CRVAL1  = \x00\x00\x00"),
        ("CUNIT1", b"CUNIT1  = '\x1b[31m'"),
        ("WCSAXES", b"WCSAXES =           99999999999999999999"),
        ("NAXIS1", b"NAXIS1  =                  -120"),
        ("BITPIX", b"BITPIX  =                    17"),
    ],
)
@pytest.mark.parametrize("spoiled", [1, 3])
def test_header_text_reaches_nothing_unescaped(
    keyword: str, card: bytes, spoiled: int, tmp_path: Path
) -> None:
    paths = frames(tmp_path)
    for path in paths[:spoiled]:
        overwrite(path, keyword, card)
    result = run("measure", tmp_path, "--json")
    if result.exit_code == 0:
        assert not any(steering(text) for text in texts(strict_json(result.stdout)))
    else:
        assert result.exit_code == 1
        assert result.stdout == ""


def test_picture_is_well_formed_and_holds_no_markup_of_a_file(tmp_path: Path) -> None:
    paths = frames(tmp_path)
    for path in paths:
        change(path, OBJECT=MARKUP)
    picture = tmp_path / "axis.svg"
    assert run("measure", tmp_path, "--plot", picture).exit_code == 0
    tags = {element.tag.rpartition("}")[2] for element in ElementTree.parse(picture).iter()}
    assert "svg" in tags
    assert not tags & {"script", "foreignObject", "image", "a"}
    assert "alert(1)" not in picture.read_text(encoding="utf-8")


def test_bytes_changed_at_random(tmp_path: Path) -> None:
    """300 frames with a few bytes of their header set at random (seed 7), two at a time beside three good ones.

    Whatever the damage, the answer stays right within its sigma or says that the frames contradict each other.
    """
    paths = frames(tmp_path, 5)
    whole = {path: path.read_bytes() for path in paths[1:3]}
    rng = np.random.default_rng(7)
    left_out = 0
    for _ in range(150):
        for path, content in whole.items():
            path.write_bytes(damaged(content, rng))
        result, _ = answered("measure", tmp_path)
        assert not any(steering(text) for text in texts(result))
        used = {frame["file"]: frame["used"] for frame in result["frames"]}
        assert sorted(used) == [path.name for path in paths]
        left_out += len(used) - sum(used.values())
        if "frames-disagree" not in {warning["code"] for warning in result["warnings"]}:
            assert within_sigmas(result["error"])
    assert left_out > 20


def within_sigmas(error: dict[str, float]) -> bool:
    """Whether both errors are within 3 sigma + 0.5 arcmin of the truth."""
    return all(
        abs(error[f"{name}_arcmin"] - true) < 3 * error[f"{name}_sigma_arcmin"] + 0.5
        for name, true in zip(("azimuth", "altitude"), ERROR, strict=True)
    )


def damaged(content: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(content)
    for place in rng.integers(0, 2160, rng.integers(1, 6)):  # the header's cards end there
        changed[place] = rng.integers(0, 256)
    return bytes(changed)
