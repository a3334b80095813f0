"""What must hold for any command line and any header: an exit code of the contract, and never a traceback.

`tests.commands.run` checks of every run that the exit code is 0, 1 or 2, that nothing steers a terminal, and that no
run ends in a fault of the program.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.commands import SAMPLES, frames, run, steering, strict_json, texts

fewer = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])

# what people type, and what they do not
anything = st.text(max_size=30).filter(lambda text: "\0" not in text)
numbers = st.floats().map(repr) | st.integers().map(str)
almost = st.lists(numbers | st.sampled_from(["", "N", "47:18:00", "11d", "E", " "]), max_size=4).map(",".join)
words = st.sampled_from(
    [
        "measure",
        "correct",
        "follow",
        "simulate",
        "rig",
        "new",
        "show",
        "--json",
        "--site",
        "--error",
        "-h",
        "--",
    ]
    + [
        "--at",
        "--rig",
        "--out",
        "--plot",
        "--pole",
        "true",
        "47.3,11.2",
        "-33,18",
        "nowhere.fits",
        "--noise-px",
    ]
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("any")
    frames(made, 3)
    return made


@pytest.fixture
def nowhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to run in, so that a name made up for a file does no harm."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@fewer
@given(arguments=st.lists(words | anything, max_size=6))
@example(arguments=["measure", "--", "-33,18"])
@example(arguments=["rig", "show", "--json", "\udcff"])
def test_any_command_line_ends_with_a_code_of_the_contract(nowhere: Path, arguments: list[str]) -> None:
    result = run(*arguments)
    if result.exit_code:
        assert result.stdout == ""
        assert result.stderr != ""


@fewer
@given(error=almost | anything, site=almost | anything)
def test_any_error_and_site_is_an_answer_or_a_wrong_command_line(error: str, site: str) -> None:
    result = run("correct", f"--error={error}", f"--site={site}", "--json")
    if result.exit_code == 0:
        strict_json(result.stdout)


OPTIONS = ["--site", "--pressure", "--temperature", "--clock-ahead", "--noise-px", "--pole"]


@fewer
@given(option=st.sampled_from(OPTIONS), value=almost | anything)
@example(option="--noise-px", value="1e-300")
@example(option="--noise-px", value="99")
@example(option="--temperature", value="-79")
@example(option="--pressure", value="5e-324")
@example(option="--clock-ahead", value="-1e308d")
@example(option="--clock-ahead", value="99999d")
@example(option="--site", value="90,0")
@example(option="--site", value="-0.0,0")
def test_any_value_of_an_option_gives_a_number_or_a_reason(folder: Path, option: str, value: str) -> None:
    result = run("measure", folder, f"{option}={value}", "--json")
    if result.exit_code == 0:
        error = strict_json(result.stdout)["error"]
        assert all(error[f"{name}_sigma_arcmin"] >= 0 for name in ("azimuth", "altitude"))
    else:
        assert result.stdout == ""


KEYWORDS = ["SIMPLE", "BITPIX", "NAXIS", "NAXIS1", "NAXIS2", "DATE-OBS", "TIMESYS", "EXPTIME", "OBSGEO-B"]
KEYWORDS += ["OBSGEO-L", "OBSGEO-H", "WCSAXES", "CTYPE1", "CTYPE2", "CUNIT1", "CRVAL1", "CRVAL2", "CRPIX1"]
KEYWORDS += ["CD1_1", "CD1_2", "CD2_1", "CD2_2", "RADESYS"]
EXTRA = [
    "LONPOLE",
    "LATPOLE",
    "PV2_1",
    "A_ORDER",
    "CDELT1",
    "CROTA2",
    "PC1_1",
    "EQUINOX",
    "MJD-AVG",
    "CTYPE3",
]
VALUES = (
    st.floats().map(lambda x: f"{x!r:>20}".upper())
    | st.integers().map(lambda n: f"{n:>20}")
    | st.text(st.characters(max_codepoint=255), max_size=60).map(lambda text: f"'{text}'")
    | st.sampled_from(
        [
            "T",
            "F",
            "",
            "NaN",
            "'RA---TPV'",
            "'GLON-CAR'",
            "'LOCAL'",
            "'TDB'",
            "'9999-12-31T23:59:60'",
            "'FK4'",
            "1D400",
        ]
    )
)


@fewer
@given(keyword=st.sampled_from(KEYWORDS), extra=st.sampled_from([None, *EXTRA]), value=VALUES)
@example(keyword="RADESYS", extra="A_ORDER", value=f"{9:>20}")
@example(keyword="RADESYS", extra="PV2_1", value=f"{1e300!r:>20}")
@example(keyword="DATE-OBS", extra=None, value="'1972-06-30T23:59:60'")
def test_any_card_in_one_frame_of_three_leaves_an_answer_or_a_reason(
    folder: Path, tmp_path: Path, keyword: str, extra: str | None, value: str
) -> None:
    spoiled = tmp_path / "spoiled"
    shutil.rmtree(spoiled, ignore_errors=True)
    shutil.copytree(folder, spoiled)
    path = spoiled / "simulated_02.fits"
    raw = path.read_bytes()
    start = raw.index(f"{keyword:<8}=".encode("ascii"))
    card = f"{extra or keyword:<8}= {value}"[:80].encode("latin-1").ljust(80)
    path.write_bytes(raw[:start] + card + raw[start + 80 :])
    result = run("measure", spoiled, "--json")
    if result.exit_code:
        assert result.stdout == ""
        return
    answer = strict_json(result.stdout)
    assert not any(steering(text) for text in texts(answer))
    assert sorted(frame["file"] for frame in answer["frames"]) == [f"simulated_0{i}.fits" for i in (1, 2, 3)]
    assert all((frame["reason"] is None) == frame["used"] for frame in answer["frames"])


@settings(fewer, max_examples=10)
@given(order=st.permutations(range(8)))
def test_order_in_which_frames_are_named_does_not_matter(order: list[int]) -> None:
    paths = sorted((SAMPLES / "north_sweep").glob("*.fz"))
    once = json.loads(run("measure", *paths, "--json").stdout)
    again = json.loads(run("measure", *(paths[i] for i in order), "--json").stdout)
    assert once == again
