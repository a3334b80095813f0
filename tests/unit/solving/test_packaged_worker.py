"""What the package is asked for: how sure it must be, and which distortion it fits."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest

from polarcheck.solving.packaged_worker import solve_job


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """The parameters that a stand-in for the package is given."""
    given = SimpleNamespace()

    class Solver:
        def __init__(self, _: object) -> None: ...

        def __enter__(self) -> Solver:
            return self

        def __exit__(self, *_: object) -> None: ...

        def solve(self, *, solution_parameters: dict[str, Any], **_: object) -> SimpleNamespace:
            given.__dict__.update(solution_parameters)
            return SimpleNamespace(has_match=lambda: False)

    package = SimpleNamespace(
        Solver=Solver,
        SizeHint=lambda *_: None,
        SolutionParameters=dict,
        Action=SimpleNamespace(STOP="stop", CONTINUE="continue"),
    )
    monkeypatch.setattr("polarcheck.solving.packaged_worker.import_module", lambda _: package)
    solve_job({"index": [], "stars": [], "scale": (1.0, 2.0), "place": None})
    return given


def test_a_match_is_one_that_chance_makes_once_in_a_thousand_million(asked: SimpleNamespace) -> None:
    """Natural logarithms of odds; 1e-9 is what general solvers ask for (common practice, no source): a night tries some
    hundred frames at some thousand places each.
    """
    assert 0.2e-9 < math.exp(-asked.output_logodds_threshold) < 5e-9
    assert [asked.logodds_callback(odds) for odds in ([], [19.0], [19.0, 22.0])] == [
        "continue",
        "continue",
        "stop",
    ]


def test_distortion_is_of_the_lowest_order_that_bends(asked: SimpleNamespace) -> None:
    """Order 2 (SIP convention: the first that is not linear); some dozens of stars do not tell more of a frame alone,
    and the lens is fitted again to all frames.
    """
    assert asked.sip_order == 2
