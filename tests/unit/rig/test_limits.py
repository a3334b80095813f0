"""Horizon and limits: what a rig file says of them, and what it must not say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polarcheck.errors import InputError
from polarcheck.report import rig_template, rig_text
from polarcheck.rig import Rig, read_rig, summarise_rig
from tests.helpers import DEG, enu

SITE = "[site]\nlatitude_deg = 47.3\nlongitude_deg = 11.2\n"


def read(folder: Path, text: str) -> Rig:
    path = folder / "rig.toml"
    path.write_text(text, encoding="utf-8")
    return read_rig(path)


def test_horizon_and_limits_make_the_reach(tmp_path: Path) -> None:
    limits = (
        "[mount]\nkind = 'german'\n[mount.limits]\nhighest_deg = 70\npast_meridian_deg = 5\narc_deg = 100\n"
    )
    reach = read(tmp_path, SITE + "horizon = [[0, 10], [90, 40]]\n" + limits).reach
    assert reach.sees(enu(np.full(4, 90) * DEG, np.array([39, 41, 69, 71]) * DEG)).tolist() == [
        False,
        True,
        True,
        False,
    ]
    assert reach.limits.past_meridian == pytest.approx(5 * DEG)
    assert reach.limits.arc == pytest.approx(100 * DEG)


def test_step_in_a_horizon_is_a_step(tmp_path: Path) -> None:
    reach = read(tmp_path, SITE + "horizon = [[0, 0], [100, 0], [100, 60], [200, 60], [200, 0]]").reach
    sky = enu(np.array([99.9, 100.1, 199.9, 200.1]) * DEG, np.full(4, 30) * DEG)
    assert reach.sees(sky).tolist() == [True, False, False, True]


@pytest.mark.parametrize(("kind", "parted"), [("german", True), ("fork", False), ("tracker", False)])
def test_only_a_german_mount_is_parted_at_the_meridian(tmp_path: Path, kind: str, parted: bool) -> None:
    reach = read(tmp_path, f"[mount]\nkind = '{kind}'\n").reach
    windows = reach.windows_with(np.array([-60, -30]) * DEG)
    assert all(end < 30 * DEG for _, end in windows) is parted


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (SITE + "horizon = [[0, 10], [90]]", "pairs"),
        (SITE + "horizon = []", "pairs"),
        (SITE + "horizon = [[0, 10], [400, 3]]", "within 0 to 360"),
        (SITE + "horizon = [[0, 10], [20, 95]]", "-5 to 90"),
        (SITE + "horizon = [[90, 10], [20, 5]]", "must grow"),
        (SITE + "horizon = 12", "line 4"),
        (SITE + "horizon = [[0, inf]]", "finite"),
        ("[mount.limits]\nhighest = 80", "did you mean highest_deg"),
        ("[mount.limits]\nhighest_deg = 12", "above lowest_deg"),
        ("[mount.limits]\naxis_angle_deg = [30, -30]", "least and the greatest"),
        ("[mount.limits]\npast_meridian_deg = -5", "at least 0"),
        ("[mount]\nkind = 'dobson'", "line 2"),
        ("[mount]\nhorizon = [[0, 10]]", "horizon in [site]"),
    ],
)
def test_what_no_place_or_mount_has_is_refused_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError, match="line") as refused:
        read(tmp_path, text)
    assert told in str(refused.value)


def test_new_rig_file_has_the_keys_and_its_example_holds(tmp_path: Path) -> None:
    reach = read(tmp_path, rig_template(example=True)).reach
    assert reach.horizon is not None
    assert reach.limits.past_meridian == pytest.approx(10 * DEG)


def test_what_is_stated_is_shown_and_nothing_else(tmp_path: Path) -> None:
    shown = " ".join(rig_text(summarise_rig(read(tmp_path, rig_template(example=True)))).split())
    for said in ("mount german", "lowest 20 deg", "highest 80 deg", "past meridian 10 deg"):
        assert said in shown
    assert "turns -100 to +100 deg" in shown
    assert "arc 150 deg" in shown
    assert "horizon 10 to 25 deg 4 corners" in shown
    bare = rig_text(summarise_rig(read(tmp_path, SITE)))
    assert not {"horizon", "lowest", "past meridian", "arc "} & set(bare.splitlines())
    assert "horizon" not in bare


@pytest.mark.parametrize(("step_deg", "is_read"), [(0.55, True), (0.45, False)])
def test_horizon_has_a_point_each_half_degree_at_most(tmp_path: Path, step_deg: float, is_read: bool) -> None:
    """Finer than any panorama is traced, and than the Sun is wide; common practice, no source."""
    points = ", ".join(f"[{azimuth:.2f}, 10]" for azimuth in np.arange(0.0, 360.0, step_deg))
    text = SITE + f"horizon = [{points}]"
    if is_read:
        assert read(tmp_path, text).reach.horizon is not None
    else:
        with pytest.raises(InputError, match="must be 1 to 720 pairs"):
            read(tmp_path, text)
