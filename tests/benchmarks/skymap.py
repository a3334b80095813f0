"""The map of the longest exposure: time for ten thousand cells, and how near it comes to the exact answer.

Run ``python -m tests.benchmarks.skymap`` from the project's root.
"""

from __future__ import annotations

import time

import erfa
import numpy as np

from polarcheck.outlook.exposure import exposure_limit
from polarcheck.outlook.optics import Optics
from polarcheck.outlook.scene import set_scene
from polarcheck.outlook.skymap import SkyMap, exposure_map
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_azalt
from tests.brute_force import axis_of

OPTICS, TOLERANCE, ROUNDS, CELLS = Optics(4.95, 1200, 900, guide_offset_deg=(0.3, -0.2)), 4.95, 5, 120
START = utc_from_iso("2026-11-14T20:00:00")


def place_of(hour_angle: float, declination: float, site: Site) -> tuple[float, float]:
    """ICRS place [deg] of an hour angle and declination of date [deg] at the start."""
    az, alt = erfa.hd2ae(*np.radians([hour_angle, declination, site.latitude_deg]))
    seen = direction_from_azalt(az, alt)
    star = Sky(site, Atmosphere(0.0, 10.0)).icrs(seen[None, None], np.array([START]))[0, 0]
    return float(np.degrees(np.arctan2(star[1], star[0]))), float(np.degrees(np.arcsin(star[2])))


def ratios(
    sky: SkyMap, axis: np.ndarray, site: Site, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Map over exact answer at random cells, and their altitudes [deg]."""
    air = standard_atmosphere(site.height_m)
    pole = Sky(site, air).refracted_pole
    cells = np.argwhere(np.isfinite(sky.limit_s) & (sky.altitude_deg > 10))
    found, altitudes = [], []
    for i, j in cells[rng.choice(len(cells), CELLS, replace=False)]:
        place = place_of(sky.hour_angle_deg[j], sky.declination_deg[i], site)
        scene = set_scene(Sky(site, air), pole, place, START, OPTICS, guided=sky.guided)
        exact = exposure_limit(scene, axis, pole, TOLERANCE).limit_s
        if exact:
            found.append(sky.limit_s[i, j] / exact)
            altitudes.append(sky.altitude_deg[i, j])
    return np.array(found), np.array(altitudes)


def main() -> None:
    """Print times and deviations."""
    rng = np.random.default_rng(1)
    hours = np.linspace(-178, 178, 100)
    print(
        "latitude  error, arcmin   guided  time, s   off above 20 deg: median, worst   10 to 20 deg: median, worst"
    )
    for latitude in (47.3, -31.4):
        site = Site(latitude, 11.2, 900.0)
        air = standard_atmosphere(site.height_m)
        rows = np.linspace(-40, 88, 100) * (1 if latitude > 0 else -1)
        for error in ((20.0, -12.0), (1.5, 1.0)):
            axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, error)
            for guided in (False, True):
                times = []
                for _ in range(ROUNDS):
                    start = time.perf_counter()
                    sky = exposure_map(
                        axis,
                        Sky(site, air),
                        OPTICS,
                        TOLERANCE,
                        guided=guided,
                        hour_angle_deg=hours,
                        declination_deg=rows,
                    )
                    times.append(time.perf_counter() - start)
                ratio, altitude = ratios(sky, axis, site, rng)
                off, high = np.abs(ratio - 1), altitude > 20
                parts = [f"{np.median(off[m]):.1%}, {off[m].max():.1%}" for m in (high, ~high)]
                print(
                    f"{latitude:8.1f}  {error!s:>14}  {guided!s:>6}  {np.median(times):7.3f}   {parts[0]:>31}   {parts[1]:>25}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
