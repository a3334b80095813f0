"""What becomes of words that do not hold and of stars that are none: ``python -m tests.benchmarks.wrong_hints [COUNT]``.

Star lists, no pictures: the 60 brightest stars of Tycho-2 in fields of 1 to 30 deg, 0.1 px off. Right is a solution
within 20 px of the truth; nothing else may ever come out. Needs ``solve-field`` with the Tycho-2 index files 07 to 19.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from polarcheck.solving import Place, Shared, Solver
from polarcheck.solving.one_frame import NotSolvedError, _matched
from polarcheck.solving.wanted import Hints
from polarcheck.stars import StarList
from polarcheck.vectors import Array
from tests.benchmarks.solving import a_view, rendering, tycho


def a_list(
    view: rendering.View, stars: tuple[Array, Array], rng: np.random.Generator, real: float
) -> StarList:
    """The 60 brightest stars of a view, 0.1 px off; where `real` is below 1, others stand at random."""
    size = np.array([view.camera.width_px, view.camera.height_px])
    centre = view.icrs(np.array([view.camera.centre_px]))[0]
    reach = np.hypot(*size) / 2 * view.camera.pixel_scale_arcsec / 206265 * 1.05
    near = stars[0] @ centre > np.cos(reach)
    places = view.pixels(stars[0][near])[np.argsort(stars[1][near])]
    places = places[((places >= 0) & (places < size)).all(axis=1)][:60]
    places = places + rng.normal(0, 0.1, places.shape)
    chance = rng.random(len(places)) >= real
    places[chance] = rng.uniform(0, size, (int(chance.sum()), 2))
    return StarList(places, np.ones(len(places)), *(int(side) for side in size), 3.0, 0.0, False, False)


def main(count: int) -> None:
    """Print what comes of words that do not hold, and of stars that are none."""
    stars, solver = tycho(), replace(Solver().ready(), limit_s=4.0)
    cases = {"all right": (1.0, False, 1.0), "scale stated 20 % too large": (1.2, False, 1.0)}
    cases |= {
        "scale stated 20 % too small": (1 / 1.2, False, 1.0),
        "place on the other side": (1.0, True, 1.0),
    }
    cases |= {"half the stars at random": (1.0, False, 0.5), "all stars at random": (1.0, False, 0.0)}
    print("\n                              lists  solved rightly  wrongly")
    for name, (factor, is_far, real) in cases.items():
        outcomes: Counter[str] = Counter()
        for number in range(count):
            rng = np.random.default_rng([7, number])
            view = a_view(float(np.exp(rng.uniform(np.log(1.0), np.log(30)))), (2400, 1600), rng)
            centre, scale = view.icrs(np.array([view.camera.centre_px]))[0], view.camera.pixel_scale_arcsec
            lon, lat = np.degrees(np.arctan2(centre[1], centre[0])), np.degrees(np.arcsin(centre[2]))
            place = Place((lon + 180) % 360, -lat) if is_far else Place(lon % 360, lat)
            hints = Hints((0.95 * factor * scale, 1.05 * factor * scale), place, True)
            try:
                match = _matched(Path("list"), a_list(view, stars, rng, real), hints, solver, Shared())
            except NotSolvedError:
                continue
            found = match.solution.icrs_from_pixels(np.array([view.camera.centre_px]))[0]
            outcomes["right" if np.linalg.norm(found - centre) * 206265 / scale < 20 else "wrong"] += 1
        print(f"{name:28s} {count:6d} {outcomes['right']:15d} {outcomes['wrong']:8d}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
