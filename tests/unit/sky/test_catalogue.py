"""Names of targets: matched whole, shown as the catalogue has them, and refused in one line."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from polarcheck.errors import InputError
from polarcheck.sky import find_target, read_targets
from polarcheck.sky.common_names import ALSO_AN_OBJECT, CONSTELLATIONS, MOVING, NAMES, PLACES

BEYOND = [f"M{n}" for n in (0, 111, 112, 200, 999, 31000)] + [f"C{n}" for n in (0, 110, 111, 500)]
BEYOND += [f"NGC {n}" for n in (0, 7841, 9999, 12345)] + [f"IC {n}" for n in (0, 5387, 9000)] + ["IC1396B"]
PARTS = [
    "Centaur",
    "Tarant",
    "flower",
    "Sunflow",
    "And",
    "Neb",
    "nebula",
    "galaxy",
    "cluster",
    "the",
    "A",
    "Ring Neb",
]
PARTS += [
    "Pin wheel wheel",
    "Great",
    "Nebula Orion",
    "Galaxy Andromeda",
    "Southern",
    "Little",
    "Blue",
    "Cat",
    "Cats",
]
MISSPELT = ["Whirlpol Galaxy", "Androméda Galxy", "Roset Nebula", "Orian Nebula", "Crabb Nebula", "Plejads"]
MISSPELT += ["Horshead", "Heelix Nebula", "Dumbell Nebulla", "Sombrerro", "Lagune Nebula", "Trifit Nebula"]
STARS = [
    "Polaris",
    "Vega",
    "Sirius",
    "Betelgeuse",
    "Alpha Centauri",
    "HD 1",
    "HIP 11767",
    "SAO 308",
    "Gaia DR3 1",
]
NONSENSE = [
    "M",
    "NGC",
    "IC",
    "C",
    "M31M31",
    "NGC 7000 7001",
    "31M",
    "31",
    "M 3 1 1",
    "M1e3",
    "M3.1",
    "M+31",
]
NONSENSE += [
    "M31; DROP TABLE objects",
    "' OR 1=1 --",
    'x" OR "1"="1',
    "%",
    "_",
    "*",
    "M%",
    "NGC*",
    "NGC 7?00",
    "/",
    "\\",
]
NONSENSE += [
    "../../etc/passwd",
    "http://example.org",
    "file.fits",
    "M31.fits",
    "--target",
    "-1",
    "0",
    "",
    " ",
    "\t",
    "\n",
]
NONSENSE += [
    "\x1b[31mM31",
    "M31\x00",
    "\u202eM31",
    "Ж31",
    "銀河",
    "🌌",
    "x" * 61,
    "x" * 5000,
    "M" + "9" * 50,
    "NGC" + "9" * 57,
]
NONSENSE += [
    "NGC 1 NED",
    "ESO 999-999",
    "PGC 9999999",
    "UGC 0",
    "HCG 0",
    "Sh2-9999",
    "LDN 0",
    "B 999",
    "nowhere",
    "foo",
]
NONSENSE += [
    "home",
    "north",
    "zenith",
    "pole",
    "here",
    "target",
    "None",
    "null",
    "true",
    "nan",
    "inf",
    "today",
    "Halley",
]
WRONG = [*(CONSTELLATIONS - ALSO_AN_OBJECT), *MOVING, *BEYOND, *PARTS, *MISSPELT, *STARS, *NONSENSE]


def test_there_are_200_wrong_names() -> None:
    assert len(set(WRONG)) >= 200


@pytest.mark.parametrize("name", sorted(set(WRONG)))
def test_wrong_name_gives_one_printable_line(name: str) -> None:
    with pytest.raises(InputError) as caught:
        find_target(name)
    text = str(caught.value)
    assert text.isprintable()
    assert len(text) < 250


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("M42", "M 42, NGC 1976, Orion Nebula"),
        ("orion nebula", "M 42, NGC 1976, Orion Nebula"),
        ("NGC 5457", "M 101, NGC 5457, Pinwheel Galaxy"),
        ("Pinwheel", "M 101, NGC 5457, Pinwheel Galaxy"),
        ("Pinwheel Galaxy", "M 101, NGC 5457, Pinwheel Galaxy"),
        ("Southern Pinwheel", "M 83, NGC 5236, Southern Pinwheel Galaxy"),
        ("Saturn Nebula", "NGC 7009, Saturn Nebula"),
        ("Ghost of Jupiter", "NGC 3242, Ghost of Jupiter"),
        ("Sunflower", "M 63, NGC 5055, Sunflower Galaxy"),
        ("Flame Nebula", "NGC 2024, Flame Nebula"),
        ("IC1396A", "IC 1396A"),
        ("M102", "NGC 5866, Spindle Galaxy in Draco"),
        ("the Running Man Nebula", "NGC 1977, Running Man Nebula"),
        ("Bodes Galaxy", "M 81, NGC 3031, Bode's Galaxy"),
        ("BODE’S GALAXY", "M 81, NGC 3031, Bode's Galaxy"),
        ("h & chi Persei", "C 14, Double Cluster"),
        ("Cr 399", "Cl 399, Coathanger"),
        ("Sh 2-155", "C 9, Cave Nebula"),
        ("ESO 56-115", "ESO 56-115, Large Magellanic Cloud"),
        ("MCG-02-01-031", "IC 2"),
    ],
)
def test_name_is_taken_for_the_object_that_is_shown(name: str, expected: str) -> None:
    assert find_target(name).catalogue_name == expected


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("Sun", "never point optics at it"),
        ("Jupiter", "moves among the stars.*RA,DEC for the time"),
        ("the Moon", "moves among the stars"),
        ("Taurus", "constellation"),
        ("Hercules", "constellation.*did you mean Hercules Cluster.*M 13"),
        ("Butterfly", r"Butterfly Cluster \(M 6\) or Butterfly Nebula \(NGC 6302\)"),
        ("Whirlpol Galaxy", "did you mean Whirlpool Galaxy"),
        ("M111", "from M 1 to M 110"),
        ("C110", "from C 1 to C 109"),
        ("IC 1064", "no such object was found again"),
    ],
)
def test_refusal_says_why_and_what_is_meant(name: str, why: str) -> None:
    with pytest.raises(InputError, match=why):
        find_target(name)


def test_every_name_of_ours_leads_to_an_object_with_and_without_its_kind() -> None:
    for which, names in [*NAMES.items(), *((place, names) for place, (_, _, names) in PLACES.items())]:
        for name in (which, *names):
            assert find_target(name).catalogue_name, name


def test_full_name_repeats_nothing() -> None:
    assert find_target("M 31").full_name == "M 31 (NGC 224, Andromeda Galaxy)"
    assert find_target("m31").full_name == "m31 (NGC 224, Andromeda Galaxy)"
    assert find_target("Andromeda Galaxy").full_name == "Andromeda Galaxy (M 31, NGC 224)"
    assert find_target("10.68,41.27").full_name == "10.6800, +41.2700"


def test_bad_lines_of_a_list_are_named_and_the_rest_is_answered(tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    path.write_text(
        "M31\n\nJupiter\n# a remark\nfield A: 10.0,20.0\n300,100\nRosette # tonight\n", encoding="utf-8"
    )
    targets, notices = read_targets(path)
    assert [target.name for target in targets] == ["M31", "field A", "Rosette"]
    assert [notice.code for notice in notices] == ["target-unknown"] * 2
    assert notices[0].text.startswith("list.txt, line 3: 'Jupiter'")
    assert notices[1].text.startswith("list.txt, line 6: declination")


def test_list_without_a_good_line_is_refused_with_its_lines(tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    path.write_text("\n".join(f"nothing {i}" for i in range(1, 41)), encoding="utf-8")
    with pytest.raises(InputError, match=r"line 1: .*(?s:.*)line 20: .*(?s:.*)and 20 lines more"):
        read_targets(path)


def test_long_list_costs_under_a_millisecond_a_line_and_too_long_a_one_nothing(tmp_path: Path) -> None:
    """Of processor time. The bound is ten times what it takes on the machine of the first run; 0.8 s a line it was once."""
    path = tmp_path / "list.txt"
    path.write_text("\n".join(f"NGC {1 + i % 7000}" for i in range(3000)), encoding="utf-8")
    started = time.process_time()
    targets, notices = read_targets(path)
    assert len(targets) + len(notices) >= 2900
    assert time.process_time() - started < 3.0
    path.write_text("\n".join("no such name" for _ in range(10_001)), encoding="utf-8")
    started = time.process_time()
    with pytest.raises(InputError, match="names 10001 targets; at most 10000"):
        read_targets(path)
    assert time.process_time() - started < 0.5


@pytest.mark.parametrize(("letters", "is_read"), [(60, True), (160, False)])
def test_list_of_ten_thousand_lines_is_read_and_a_larger_file_is_none(
    tmp_path: Path, letters: int, is_read: bool
) -> None:
    path = tmp_path / "list.txt"
    path.write_text("M31\n" + ("#" * (letters - 1) + "\n") * 9999, encoding="utf-8")
    if is_read:
        assert [target.name for target in read_targets(path)[0]] == ["M31"]
    else:
        with pytest.raises(InputError, match="too large for a list of targets"):
            read_targets(path)


@pytest.mark.parametrize(("kilobytes", "read"), [(800, True), (1500, False)])
def test_list_of_more_than_a_megabyte_is_no_list(tmp_path: Path, kilobytes: int, read: bool) -> None:
    """Ten thousand lines of a hundred characters."""
    path = tmp_path / "list.txt"
    path.write_text("M31\n#" + "x" * (kilobytes * 1000 - 5), encoding="utf-8")
    if read:
        assert len(read_targets(path)[0]) == 1
    else:
        with pytest.raises(InputError):
            read_targets(path)
