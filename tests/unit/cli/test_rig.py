"""The commands of the rig file, and how the file is found."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import platformdirs
import pytest
from astropy.io import fits
from pydantic import BaseModel
from typer.testing import CliRunner, Result

from polarcheck.cli.app import app
from polarcheck.errors import InputError
from polarcheck.report.text.rig_file import rig_template
from polarcheck.rig.file import Rig, read_rig
from polarcheck.rig.finding import FoundRig, find_rig
from polarcheck.rig.finding import configuration_folder as real_configuration_folder
from polarcheck.rig.tables import CameraTable, Guiding, Knob, Mount, OpticsTable

SWEEP = Path(__file__).parents[3] / "sample_frames" / "north_sweep"
DEMO = "[site]\nlatitude_deg = 47.3\nlongitude_deg = 11.2\nheight_m = 900.0\n"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty current folder, and an empty configuration folder beside it."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setattr("polarcheck.rig.finding.configuration_folder", lambda: tmp_path / "settings")
    return folder


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["rig", *arguments])


def refused(result: Result) -> str:
    """What an exit code of 1 says: a few lines, nothing on stdout, no control characters."""
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("polarcheck: ")
    assert not re.search(r"[^\n\x20-\x7e]", result.stderr)
    return re.sub(r"\s+", " ", result.stderr)


def shown(text: str, folder: Path) -> dict[str, Any]:
    (folder / "shown.toml").write_text(text, encoding="utf-8")
    result = run("show", "shown.toml", "--json")
    assert result.exit_code == 0, result.stderr
    value: dict[str, Any] = json.loads(result.stdout)
    return value


# the new file


def test_new_file_states_nothing_until_its_owner_does(here: Path) -> None:
    assert run("new").exit_code == 0
    rig = read_rig(here / "rig.toml")
    unset = Rig(here / "rig.toml", OpticsTable(), CameraTable(), Guiding(), rig.mount, None)
    assert rig == unset
    assert rig.mount == Mount(azimuth=Knob(), altitude=Knob())


def test_example_states_every_key_and_reads_back(here: Path) -> None:
    """Each field of the tables, found in the model, has a value in the template."""
    assert run("new", "demo.toml", "--example").exit_code == 0
    rig = read_rig(here / "demo.toml")
    written = tomllib.loads((here / "demo.toml").read_text(encoding="utf-8"))
    tables: list[tuple[type[BaseModel], dict[str, Any]]] = [
        (OpticsTable, written["optics"]),
        (CameraTable, written["camera"]),
        (Guiding, written["guiding"]),
        (Mount, written["mount"]),
        (Knob, written["mount"]["azimuth"]),
        (Knob, written["mount"]["altitude"]),
    ]
    for model, table in tables:
        assert set(table) == set(model.model_fields)
    assert (rig.optics.focal_length_mm, rig.camera.pixel_size_um) == (250.0, 6.0)
    assert (rig.camera.width_px, rig.camera.height_px) == (1200, 900)
    assert rig.site is not None
    assert (rig.site.latitude_deg, rig.site.longitude_deg, rig.site.height_m) == (47.3, 11.2, 900.0)


def test_example_differs_from_the_new_file_only_in_what_is_in_force() -> None:
    """A value or table that is commented out in one is in force in the other; every other line is the same."""
    plain, example = rig_template().splitlines(), rig_template(example=True).splitlines()
    changed = [(old, new) for old, new in zip(plain, example, strict=True) if old != new]
    assert all(old == f"#{new}" for old, new in changed)
    assert len(changed) == 41 + 1  # and [site]


PAIRS = {"thread_pitch_mm": "lever_mm", "lever_mm": "thread_pitch_mm"}
SITE = {"latitude_deg", "longitude_deg", "height_m"}
HORIZON = {"horizon"}  # in the table of the site, which it needs
CLOCK = {"site zone"}  # likewise, and another than the camera's


def test_each_single_key_of_the_new_file_can_be_put_in_force_alone(tmp_path: Path) -> None:
    """Taking away one # (or those that belong together) leaves a valid file with just that in it."""
    lines = rig_template().splitlines()
    keys = {i: line[1:].split(" ")[0] for i, line in enumerate(lines) if re.match(r"#[a-z_]+ = ", line)}
    assert len(keys) == 41
    of_site = lines.index("#[site]")
    keys |= {i: "site zone" for i, key in keys.items() if key == "zone" and i > of_site}
    for i, key in keys.items():
        free = {i, *(j for j in (i - 1, i + 1) if keys.get(j) == PAIRS.get(key, ""))}
        if key in SITE | HORIZON | CLOCK:
            free = {i, lines.index("#[site]"), *(j for j, other in keys.items() if other in SITE)}
        text = "\n".join(line[1:] if j in free else line for j, line in enumerate(lines))
        (tmp_path / "one.toml").write_text(text, encoding="utf-8")
        rig = read_rig(tmp_path / "one.toml")
        stated = {name for table in tables_of(rig) for name in table.model_fields_set} - {
            "azimuth",
            "altitude",
            "limits",
        }
        assert stated == {keys[j] for j in free if j in keys} - SITE - HORIZON - CLOCK
        assert (rig.site is not None) == (key in SITE | HORIZON | CLOCK)
        assert (rig.zone is not None) == (key in CLOCK)
        assert (rig.horizon is not None) == (key in HORIZON)


def tables_of(rig: Rig) -> list[BaseModel]:
    assert rig.mount.azimuth is not None and rig.mount.altitude is not None
    return [
        rig.optics,
        rig.camera,
        rig.guiding,
        rig.mount,
        rig.mount.azimuth,
        rig.mount.altitude,
        rig.mount.limits,
        rig.solver,
    ]


def test_new_file_fits_a_terminal() -> None:
    assert max(len(line) for line in rig_template().splitlines()) <= 80
    assert rig_template().isascii()


def test_file_that_is_there_stays_unless_forced(here: Path) -> None:
    (here / "rig.toml").write_text("mine", encoding="utf-8")
    assert "rig.toml: is there already" in refused(run("new"))
    assert (here / "rig.toml").read_text(encoding="utf-8") == "mine"
    assert run("new", "--force").exit_code == 0
    assert (here / "rig.toml").read_text(encoding="utf-8") == rig_template() + "\n"
    assert [path.name for path in here.iterdir()] == ["rig.toml"]


def test_new_file_in_no_folder_or_as_a_folder_is_refused(here: Path) -> None:
    assert "there is no folder missing" in refused(run("new", "missing/rig.toml"))
    (here / "folder").mkdir()
    assert "is a folder; name a file in it" in refused(run("new", "folder", "--force"))
    assert list((here / "folder").iterdir()) == []


def test_unwritable_place_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "replace", denied)
    assert "rig.toml: cannot be written (Permission denied)" in refused(run("new"))


# what follows from it


def test_show_works_out_the_demo_rig(here: Path) -> None:
    """By hand: 206.265 x 6 / 250 = 4.9504; 2 atan(3.6 / 250) = 1.65000 deg, 2 atan(2.7 / 250) = 1.23754 deg;
    atan(1.25 / 70) = 61.382', a hundredth of a turn 0.61389'.
    """
    text = rig_template(example=True).replace("arcmin_per_turn", "#arcmin_per_turn")
    value = shown(text, here)
    assert value["schema"] == "polarcheck.rig/1"
    assert value["pixel_scale_arcsec"] == pytest.approx(4.95036, abs=1e-5)
    assert value["field_of_view"]["width_deg"] == pytest.approx(1.65000, abs=1e-5)
    assert value["field_of_view"]["height_deg"] == pytest.approx(1.23754, abs=1e-5)
    azimuth, altitude = value["knobs"]
    assert (azimuth["knob"], altitude["knob"]) == ("azimuth", "altitude")
    assert azimuth["basis"] == altitude["basis"] == "thread and lever"
    assert azimuth["arcmin_per_turn"] == pytest.approx(61.382, abs=1e-3)
    assert azimuth["smallest_move_arcmin"] == pytest.approx(0.61389, abs=1e-5)
    assert altitude["arcmin_per_turn"] == pytest.approx(71.609, abs=1e-3)
    assert value["missing"] == [] and value["warnings"] == []


def test_travel_counts_from_the_middle_of_the_knob(here: Path) -> None:
    """60 mm lever, 20 deg in all: 2 x 60 tan 10 deg / 1.25 = 16.9274 turns (tan 10 deg = 0.1763270)."""
    text = "[mount.altitude]\nthread_pitch_mm = 1.25\nlever_mm = 60\ntravel_arcmin = 1200\n"
    assert shown(text, here)["knobs"][1]["travel_turns"] == pytest.approx(16.9274, abs=1e-4)


def test_text_names_each_number_with_its_formula_within_80_columns(here: Path) -> None:
    assert run("new", "--example").exit_code == 0
    result = run("show")
    assert result.exit_code == 0 and result.stderr == ""
    for part in (
        r"image scale +4\.95 arcsec/px +206\.265 x 6 um / 250 mm",
        r"field of view +1\.65 x 1\.238 deg +2 atan\(",
        r"one turn +61\.4 arcmin +measured",
        r"by the thread +61\.38 arcmin +atan\(1\.25 mm / 70 mm\)",
        r"smallest turn +0\.614 arcmin +0\.01 turn x 61\.4 arcmin",
        r"clockwise +axis goes east +of the bolt on the east side",
        r"guide star +0\.316 deg off centre +0\.3 deg east, 0\.1 south",
        r"site +47\.3, 11\.2 deg +latitude, longitude; 900 m high",
    ):
        assert re.search(part, result.stdout), part
    assert "not in the file" not in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) < 80


def test_thread_and_lever_give_the_formula_of_each_turn(here: Path) -> None:
    (here / "rig.toml").write_text(
        "[mount.azimuth]\nthread_pitch_mm = 1.25\nlever_mm = 70\nbacklash_turns = 0.05\ntravel_arcmin = 600\n",
        encoding="utf-8",
    )
    output = run("show").stdout
    assert re.search(r"one turn +61\.38 arcmin +atan\(1\.25 mm / 70 mm\)", output)
    assert re.search(
        r"backlash +0\.05 turn\n +so +3\.07 arcmin +atan\(0\.05 turn x 1\.25 mm / 70 mm\)", output
    )
    assert re.search(r"travel +600 arcmin\n +so +9\.8 turns", output)


def test_what_is_missing_is_said_with_the_command_that_wants_it(here: Path) -> None:
    value = shown("[optics]\nfocal_length_mm = 250\n", here)
    missing = {point["key"]: point["command"] for point in value["missing"]}
    assert "optics.focal_length_mm" not in missing
    assert missing["camera.pixel_size_um"] == "exposure"
    assert missing["mount.azimuth.clockwise_moves"] == "correct"
    assert missing["site"] == "measure"
    assert value["pixel_scale_arcsec"] is None
    assert value["knobs"][0]["arcmin_per_turn"] is None
    output = run("show", "shown.toml").stdout
    assert re.search(r"azimuth knob +not known", output)
    assert re.search(r"camera\.pixel_size_um +exposure: needs it, here or", output)
    assert max(len(line) for line in output.splitlines()) < 80


@pytest.mark.parametrize(("measured", "warned"), [(61.4, False), (67.0, False), (90.0, True), (50.0, True)])
def test_measured_turn_far_from_the_thread_is_warned_of(here: Path, measured: float, warned: bool) -> None:
    """M8 at 70 mm gives 61.38'; more than a tenth off is a warning, and the measured value still holds."""
    text = f"[mount.azimuth]\narcmin_per_turn = {measured}\nthread_pitch_mm = 1.25\nlever_mm = 70\n"
    value = shown(text, here)
    assert value["knobs"][0]["arcmin_per_turn"] == measured
    assert [notice["code"] for notice in value["warnings"]] == ["knob-disagrees"] * warned
    assert ("warning: mount.azimuth" in run("show", "shown.toml").stderr) == warned


def test_show_refuses_what_it_cannot_read(here: Path) -> None:
    assert "nowhere.toml: is not there; write one to fill in" in refused(run("show", "nowhere.toml"))
    assert ".: is a folder; name the file in it" in refused(run("show", "."))
    (here / "rig.toml").write_text("[optics]\nfocal_lenght_mm = 250\n", encoding="utf-8")
    said = refused(run("show"))
    assert "line 2: unknown key optics.focal_lenght_mm; did you mean focal_length_mm?" in said
    (here / "rig.toml").write_bytes(b"\xff\xfe")
    assert "no UTF-8 text" in refused(run("show", "rig.toml"))


def test_show_without_any_file_says_where_it_looked(tmp_path: Path) -> None:
    said = refused(run("show"))
    assert "no rig.toml here or in" in said and "settings" in said and "polarcheck rig new" in said


def test_file_name_with_control_characters_is_not_echoed_raw(here: Path) -> None:
    refused(run("show", "a\x1b[31m\u202e.toml"))


@pytest.mark.parametrize("arguments", [[], ["nonsense"], ["new", "a.toml", "b.toml"], ["show", "--colour"]])
def test_wrong_command_line_is_code_2(arguments: list[str]) -> None:
    assert run(*arguments).exit_code == 2


@pytest.mark.parametrize("arguments", [[], ["new"], ["show"]])
def test_help_has_an_example(arguments: list[str]) -> None:
    result = run(*arguments, "--help")
    assert result.exit_code == 0
    assert "Example: polarcheck rig" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_help_and_a_measurement_without_a_rig_load_nothing_for_it() -> None:
    """The command library itself may load pydantic once a command is chosen; the rig file's room must not. (What
    writes a night's file loads it, for the advice.)
    """
    code = (
        "import sys; from pathlib import Path; from typer.testing import CliRunner\n"
        "from polarcheck.cli.app import app; import polarcheck.rig.finding as finding\n"
        "invoke = CliRunner().invoke\n"
        "assert invoke(app, ['--help']).exit_code == 0\n"
        "assert not {'pydantic', 'numpy', 'astropy', 'platformdirs'} & set(sys.modules)\n"
        "assert invoke(app, ['rig', 'show', '--help']).exit_code == 0\n"
        "assert not {'numpy', 'astropy', 'platformdirs'} & set(sys.modules)\n"
        "finding.configuration_folder = lambda: Path('nowhere')\n"
        f"assert invoke(app, ['measure', '--no-night', {str(SWEEP)!r}]).exit_code == 0\n"
        "assert 'polarcheck.rig.file' not in sys.modules\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


# further keys


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[mount.azimuth]\nkind = "bolts"\n', "line 2: mount.azimuth.kind"),
        ("[mount.azimuth]\ntravel_arcmin = 0\n", "line 2: mount.azimuth.travel_arcmin"),
        ("[mount.azimuth]\ntravel_arcmin = 10800\n", "line 2: mount.azimuth.travel_arcmin"),
        (
            "[mount.azimuth]\nlever_mm = 0.07\nthread_pitch_mm = 1.25\n",
            "lever_mm = 0.07 is not within 1 to 5000",
        ),
        ("[mount.altitude]\nthread_pitch_mm = 125\nlever_mm = 60\n", "thread_pitch_mm = 125 is not within"),
        ("[mount.altitude]\nsmallest_turn = 3.6\n", "smallest_turn = 3.6 is not within"),
        ("[mount]\nclamp_shift_arcmin = [1.0]\n", "line 2: mount.clamp_shift_arcmin"),
        ("[mount]\nclamp_shift_arcmin = [1.0, nan]\n", "line 2: mount.clamp_shift_arcmin"),
        ("[mount]\nclamp_shift_arcmin = [1.0, 601.0]\n", "line 2: mount.clamp_shift_arcmin"),
        ('[mount]\nclamp_shift_arcmin = ["1", 2]\n', "line 2: mount.clamp_shift_arcmin"),
        ("[mount]\nclamp_shift = [1.0, 2.0]\n", "did you mean clamp_shift_arcmin?"),
        ("[site]\nlatitude_deg = 47.3\n", "site.longitude_deg is missing"),
    ],
)
def test_wrong_value_is_refused_with_its_line(here: Path, text: str, said: str) -> None:
    (here / "rig.toml").write_text(text, encoding="utf-8")
    assert said in refused(run("show", "rig.toml"))


def test_table_without_a_value_says_nothing(here: Path) -> None:
    (here / "rig.toml").write_text("[site]\n[mount.azimuth]\n", encoding="utf-8")
    assert read_rig(here / "rig.toml").site is None


# finding it


def test_named_file_comes_before_the_frames_folder_before_the_users_own(tmp_path: Path, here: Path) -> None:
    frames, settings = tmp_path / "frames", tmp_path / "settings"
    frames.mkdir()
    settings.mkdir()
    assert find_rig(None, [frames]) is None
    own = settings / "rig.toml"
    own.write_text("", encoding="utf-8")
    assert find_rig(None, [frames]) == FoundRig(own, "in the configuration folder")
    current = here / "rig.toml"
    current.write_text("", encoding="utf-8")
    assert find_rig(None, [frames]) == FoundRig(Path("rig.toml"), "in the current folder")
    beside = frames / "rig.toml"
    beside.write_text("", encoding="utf-8")
    assert find_rig(None, [frames]) == FoundRig(beside, "beside the frames")
    assert find_rig(Path("named.toml"), [frames]) == FoundRig(Path("named.toml"), "named")


def test_folder_called_rig_toml_is_no_rig_file(here: Path) -> None:
    (here / "rig.toml").mkdir()
    assert find_rig(None, [here]) is None


def test_differing_files_beside_the_frames_are_refused_equal_ones_not(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
        (folder / "rig.toml").write_text(DEMO, encoding="utf-8")
    assert find_rig(None, [first, second, first]) == FoundRig(first / "rig.toml", "beside the frames")
    (second / "rig.toml").write_text(DEMO + "#", encoding="utf-8")
    with pytest.raises(InputError, match="differ; say which rig file holds"):
        find_rig(None, [first, second])


def test_configuration_folder_is_where_platformdirs_puts_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """platformdirs names the folder by each system's rules; ours ends in the program's name and holds no more."""
    asked: list[str] = []

    def user_config_path(name: str, **_: object) -> Path:
        asked.append(name)
        return Path("settings") / name

    monkeypatch.setattr(platformdirs, "user_config_path", user_config_path)
    assert real_configuration_folder() == Path("settings", "polarcheck")
    assert asked == ["polarcheck"]


# measure uses it


def without_site(folder: Path) -> Path:
    """Three real frames whose headers lost the site."""
    folder.mkdir()
    for path in sorted(SWEEP.glob("*.fits.fz"))[::3]:
        shutil.copy(path, folder)
        with fits.open(folder / path.name, mode="update", disable_image_compression=True) as hdus:
            for keyword in ("OBSGEO-B", "OBSGEO-L", "OBSGEO-H"):
                del hdus[1].header[keyword]
    return folder


def measured(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["measure", *arguments, "--json"])


@pytest.mark.parametrize(
    "offer",
    [lambda f: [f], lambda f: [f / "*.fz"], lambda f: sorted(f.glob("*.fz"))],
    ids=["folder", "glob", "files"],
)
def test_measure_takes_the_site_from_the_rig_file_beside_the_frames(
    tmp_path: Path, offer: Callable[[Path], list[Path]]
) -> None:
    folder = without_site(tmp_path / "frames")
    offered = [str(path) for path in offer(folder)]
    lacking = measured(*offered)
    assert lacking.exit_code == 1 and "site" in lacking.stderr
    (folder / "rig.toml").write_text(DEMO, encoding="utf-8")
    found = measured(*offered)
    assert found.exit_code == 0, found.stderr
    site = json.loads(found.stdout)["site"]
    assert (site["latitude_deg"], site["longitude_deg"], site["height_m"]) == (47.3, 11.2, 900.0)
    assert site["source"] == "rig file rig.toml"


def test_measure_takes_the_site_from_the_users_own_rig_file(tmp_path: Path) -> None:
    folder = without_site(tmp_path / "frames")
    (tmp_path / "settings").mkdir()
    (tmp_path / "settings" / "rig.toml").write_text(DEMO, encoding="utf-8")
    result = measured(str(folder))
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["site"]["longitude_deg"] == 11.2


def test_wrong_rig_file_that_was_not_named_is_told_with_its_folder(tmp_path: Path) -> None:
    folder = without_site(tmp_path / "frames")
    (folder / "rig.toml").write_text("[optics]\nfocal = 1\n", encoding="utf-8")
    result = measured(str(folder))
    assert result.exit_code == 1 and result.stdout == ""
    assert "rig.toml: line 2: unknown key optics.focal" in re.sub(r"\s+", " ", result.stderr)
    assert "found without being named" in result.stderr and str(folder) in result.stderr
    assert measured(str(folder), "--site", "47.3,11.2").exit_code == 0  # then no rig file is needed


def test_what_the_file_says_of_clocks_and_solver_is_shown(here: Path) -> None:
    text = DEMO + 'zone = "Europe/Vienna"\n[camera]\nzone = "+09:00"\n[solver]\nalways = true\n'
    text += 'index_folders = ["/data/a", "/data/b"]\ncommand = ["some-solver", "{stars}"]\n'
    (here / "rig.toml").write_text(text, encoding="utf-8")
    said = run("show", "rig.toml").stdout
    for words in (
        "Europe/Vienna",
        "+09:00",
        "solved on the way",
        "/data/a",
        "/data/b",
        "some-solver",
        "{stars}",
    ):
        assert words in said


def test_clock_times_that_are_typed_count_in_the_zone_of_the_place(here: Path) -> None:
    rig = here / "rig.toml"
    rig.write_text(DEMO + 'zone = "+02:00"\n[camera]\nzone = "+09:00"\n', encoding="utf-8")
    said = CliRunner().invoke(app, ["plan", "--rig", str(rig), "--at", "20:30"]).stderr
    assert "18:30:00 UTC, 20:30 in +02:00" in said
    rig.write_text(DEMO + '[camera]\nzone = "+09:00"\n', encoding="utf-8")
    assert "11:30:00 UTC" in CliRunner().invoke(app, ["plan", "--rig", str(rig), "--at", "20:30"]).stderr
    said = CliRunner().invoke(app, ["plan", "--rig", str(rig), "--at", "20:30", "--zone", "+01:00"]).stderr
    assert "19:30:00 UTC" in said


def test_zone_of_a_place_that_is_none_is_refused(here: Path) -> None:
    (here / "rig.toml").write_text(DEMO + 'zone = "Atlantis/West"\n', encoding="utf-8")
    assert run("show", "rig.toml").exit_code == 1


def test_unsolved_frames_are_told_how_to_be_solved_and_nothing_at_all_where_to_begin(here: Path) -> None:
    unsolved = SWEEP.parent / "unsolved_sweep"
    said = " ".join(CliRunner().invoke(app, ["measure", "--no-night", str(unsolved)]).stderr.split())
    assert said.endswith("Plate-solve them with `polarcheck solve FOLDER`, or run this with --solve.")
    for name in ("correct", "exposure"):
        said = " ".join(CliRunner().invoke(app, [name]).stderr.split())
        assert "no night (polarcheck-night.jsonl) in this folder" in said
