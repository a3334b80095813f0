"""The user's page of `measure`: its outputs are the program's own, and nothing that can be said is missing from it."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

import polarcheck
from polarcheck.cli.app import app
from tests.commands import SAMPLES, answered, run

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "measure.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
EXAMPLES = re.findall(r"```console\n\$ polarcheck ([^\n]+)\n(.*?)```", PAGE, re.DOTALL)


def assert_alike(shown: str, real: str) -> None:
    """Same words in the same lines; numbers may differ where another library release rounds otherwise."""
    lines = [line.rstrip() for line in shown.strip().splitlines()]
    told = [line.rstrip() for line in real.splitlines()]
    words = [NUMBER.sub("#", line) for line in lines]
    starts = [i for i in range(len(told)) if [NUMBER.sub("#", x) for x in told[i : i + len(lines)]] == words]
    assert starts, f"{shown}\n---\n{real}"
    for line, other in zip(lines, told[starts[0] :], strict=False):
        for number, same in zip(NUMBER.findall(line), NUMBER.findall(other), strict=True):
            assert float(number) == pytest.approx(float(same), abs=0.03)


@pytest.mark.parametrize(("command", "shown"), EXAMPLES, ids=[command[:40] for command, _ in EXAMPLES])
def test_output_on_the_page_is_the_programs_own(
    command: str, shown: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    words = shlex.split(command.replace("sample_frames", SAMPLES.as_posix()))
    result = run(*words)
    assert result.exit_code == 0
    assert_alike(shown, result.stdout + "\n" + result.stderr)


def test_output_in_the_readme_is_the_programs_own() -> None:
    (shown,) = re.findall(r"```text\n(Polar axis.*?)```", README, re.DOTALL)
    assert_alike(shown, run("measure", SAMPLES / "north_sweep").stdout)


@pytest.mark.parametrize(
    ("options", "row"),
    [
        ([], "right site, right clock"),
        (["--site", "47.3,10.2"], r"longitude 1° off \(`--site 47.3,10.2`\)"),
        (["--clock-ahead", "1h"], r"clock 1 h off \(`--clock-ahead 1h`\)"),
    ],
)
def test_table_of_wrong_sites_and_clocks(options: list[str], row: str) -> None:
    result, _ = answered("measure", SAMPLES / "north_sweep", *options)
    match = re.search(rf"\| {row} \| ([−\d.]+)′ \| ([−\d.]+)′ \| ([\d.]+)′ \|", PAGE)
    assert match
    shown = [float(text.replace("−", "-")) for text in match.groups()]
    real = [result["error"][f"{name}_arcmin"] for name in ("azimuth", "altitude", "total")]
    assert shown == pytest.approx(real, abs=0.03)


@pytest.mark.parametrize("name", ["measure", "simulate"])
def test_every_option_is_on_the_page(name: str) -> None:
    command = typer.main.get_command(app).commands[name]  # type: ignore[attr-defined]
    options = {option for parameter in command.params for option in parameter.opts if option.startswith("--")}
    assert len(options) > 8
    assert {option for option in options if f"`{option}" not in PAGE} <= {"--help"}


def test_every_warning_of_a_measurement_is_on_the_page() -> None:
    package = Path(polarcheck.__file__).parent
    others = (
        "knobs",
        "followup",
        "rig",
        "outlook",
        "planning",
        "watch",
        "digest",
        "report",
        "cli",
    )  # they warn on pages of their own
    rooms = [p for p in package.rglob("*.py") if p.relative_to(package).parts[0] not in others]
    rooms = [path for path in rooms if path.stem != "source"]
    source = "\n".join(path.read_text(encoding="utf-8") for path in rooms)
    codes = set(re.findall(r'Notice\(\s*"([a-z-]+)"', source))
    assert {"assumed-noise", "sun-up", "site-disagreement"} <= codes
    assert {code for code in codes if f"`{code}`" not in PAGE} == set()


def test_every_key_of_the_json_is_on_the_page() -> None:
    result, _ = answered("measure", SAMPLES / "north_sweep")
    keys = {*result, *result["fit"], *result["frames"][0]} - {"schema"}
    assert {key for key in keys if f"`{key}`" not in PAGE} == set()
