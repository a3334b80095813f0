"""The rig file as JSON: nothing that the file can say is lost."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from polarcheck.rig.limits import LimitsTable
from polarcheck.rig.schema import (
    CameraKeys,
    GuidingKeys,
    KnobKeys,
    LimitsKeys,
    MountKeys,
    OpticsKeys,
    PlaceKeys,
    SolverKeys,
)
from polarcheck.rig.solver_table import SolverTable
from polarcheck.rig.tables import CameraTable, Guiding, Knob, Mount, OpticsTable, SitePlace


@pytest.mark.parametrize(
    ("stated", "shown"),
    [
        (OpticsTable, OpticsKeys),
        (CameraTable, CameraKeys),
        (Guiding, GuidingKeys),
        (Knob, KnobKeys),
        (Mount, MountKeys),
        (LimitsTable, LimitsKeys),
        (SitePlace, PlaceKeys),
        (SolverTable, SolverKeys),
    ],
)
def test_every_key_of_the_file_stands_in_the_json(stated: type[BaseModel], shown: type[BaseModel]) -> None:
    assert set(stated.model_fields) - {"azimuth", "altitude"} <= set(shown.model_fields)
