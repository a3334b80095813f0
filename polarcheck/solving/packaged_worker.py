"""The process in which the packaged solver runs: ``python -m polarcheck.solving.packaged_worker JOB ANSWER``."""

from __future__ import annotations

import json
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

__all__ = ["solve_job"]

_SURE = 21.0  # log-odds, one in 1e9: what the general solver asks for, too
_ORDER = 2


def solve_job(job: dict[str, Any]) -> dict[str, Any]:
    """Solve one frame's star list.

    Parameters
    ----------
    job : dict
        Its ``index`` files, ``stars`` (1-based pixels), ``scale`` range [arcsec/px], and ``place`` or None [deg].

    Returns
    -------
    dict
        Header ``fields`` of the solution (empty where there is none), and the index' ``stars`` near it [deg].
    """
    package = import_module("astrometry")

    def enough(odds: list[float]) -> Any:
        return package.Action.STOP if odds and max(odds) >= _SURE else package.Action.CONTINUE

    with package.Solver([Path(name) for name in job["index"]]) as solver:
        found = solver.solve(
            stars=[tuple(place) for place in job["stars"]],
            size_hint=package.SizeHint(*job["scale"]),
            position_hint=None if job["place"] is None else package.PositionHint(*job["place"]),
            solution_parameters=package.SolutionParameters(
                sip_order=_ORDER, output_logodds_threshold=_SURE, logodds_callback=enough
            ),
        )
    if not found.has_match():
        return {"fields": {}, "stars": []}
    match = found.best_match()
    fields = {key: value for key, (value, _) in match.wcs_fields.items()}
    return {"fields": fields, "stars": [(star.ra_deg, star.dec_deg) for star in match.stars]}


def _main(job: str, answer: str) -> None:
    done = json.dumps(solve_job(json.loads(Path(job).read_text(encoding="utf-8"))))
    whole = Path(answer)
    part = whole.with_suffix(".part")
    part.write_text(done, encoding="utf-8")
    part.replace(whole)


if __name__ == "__main__":
    _main(*sys.argv[1:])
