"""What is kept away from: the Sun until the sky is dark, the Moon as far as it is bright."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polarcheck.planning import avoided
from polarcheck.planning.avoided import kept_away
from polarcheck.planning.bodies import moon_at, sun_at
from polarcheck.site import Site
from polarcheck.sky import Sky
from polarcheck.times import utc_from_iso

SKY = Sky.over(Site(47.3, 11.2))


def kept(time: str) -> tuple[dict[int, float], list[str]]:
    """Distances by which of the two it is (0 the Sun, 1 the Moon) [deg], and the codes of warnings."""
    utc = utc_from_iso(time)
    found, notices = kept_away(utc, SKY)
    bodies = np.stack([sun_at(utc, SKY).direction, moon_at(utc, SKY).body.direction])
    return (
        {int(np.argmax(bodies @ direction)): float(np.degrees(distance)) for direction, distance in found},
        [notice.code for notice in notices],
    )


@pytest.mark.parametrize(
    ("time", "sun", "warned"),
    # at 47.3 N on 2026-11-14 the Sun sets at 15:41, stands at -6 deg at 16:14 and at -18 deg at 17:27 (ephem beforehand)
    [
        ("12:00", True, True),
        ("16:05", True, True),
        ("16:25", True, False),
        ("17:20", True, False),
        ("17:35", False, False),
    ],
)
def test_sun_is_kept_away_from_until_the_sky_is_dark(time: str, sun: bool, warned: bool) -> None:
    distances, codes = kept(f"2026-11-14T{time}:00")
    assert (0 in distances) is sun
    assert (codes == ["daylight"]) is warned
    if sun:
        assert distances[0] == pytest.approx(60)


@pytest.mark.parametrize(
    ("time", "least", "greatest"),
    [
        ("2026-11-24T22:00:00", 29, 30),  # full on 2026-11-24 at 14:53 (ephem)
        ("2026-11-14T17:40:00", 14, 16),  # 25 % lit, 11 deg high in the south-west (ephem)
        ("2026-11-11T17:40:00", 0, 0),  # two days old, 10 deg below the horizon (ephem)
    ],
)
def test_brighter_moon_is_kept_further_away_from(time: str, least: float, greatest: float) -> None:
    distances, _ = kept(time)
    assert least <= distances.get(1, 0.0) <= greatest


@pytest.mark.parametrize(("lit", "kept_away_from"), [(0.07, False), (0.15, True)])
def test_thin_crescent_troubles_nobody(
    monkeypatch: pytest.MonkeyPatch, lit: float, kept_away_from: bool
) -> None:
    """A tenth of the disc gives a fiftieth of the full Moon's light (common practice, no source)."""
    full = moon_at(utc_from_iso("2026-11-24T22:00:00"), SKY)
    monkeypatch.setattr(avoided, "moon_at", lambda *_: replace(full, lit=lit))
    assert (1 in kept("2026-11-24T22:00:00")[0]) is kept_away_from
