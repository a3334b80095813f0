"""How far a telescope mount's polar axis is off, from plate-solved frames.

>>> from polarcheck import measure
>>> result = measure("sample_frames/north_sweep")
>>> round(result.error.total_arcmin)
20
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polarcheck.presenting import Presenter, present_with

if TYPE_CHECKING:
    from polarcheck.alignment import Alignment, AxisError, axis_error, read_result
    from polarcheck.axis import AxisFit, fit_axis
    from polarcheck.errors import FitError, FrameError, GeometryError, InputError, Notice, PolarcheckError
    from polarcheck.followup import Followed, follow
    from polarcheck.frames import Frame, read_frame, read_frames
    from polarcheck.knobs import Correction, correct
    from polarcheck.measurement import Measurement, measure, measure_frames
    from polarcheck.outlook import Optics, Outlook, exposure_limit, optics_from, predict_drift, set_scene
    from polarcheck.rig import Rig, read_rig
    from polarcheck.simulate import simulate_frames
    from polarcheck.site import Site
    from polarcheck.sky import find_target
    from polarcheck.stars import find_stars

__version__ = "0.1.0"

__all__ = [
    "Alignment",
    "AxisError",
    "AxisFit",
    "Correction",
    "FitError",
    "Followed",
    "Frame",
    "FrameError",
    "GeometryError",
    "InputError",
    "Measurement",
    "Notice",
    "Optics",
    "Outlook",
    "PolarcheckError",
    "Rig",
    "Site",
    "axis_error",
    "correct",
    "exposure_limit",
    "find_stars",
    "find_target",
    "fit_axis",
    "follow",
    "measure",
    "measure_frames",
    "optics_from",
    "predict_drift",
    "read_frame",
    "read_frames",
    "read_result",
    "read_rig",
    "set_scene",
    "simulate_frames",
]

_ROOMS = {
    "Alignment": "alignment.state",
    "read_result": "alignment.saved",
    "Correction": "knobs.correction",
    "correct": "knobs.correction",
    "Followed": "followup.axis_now",
    "follow": "followup.from_files",
    "Rig": "rig.file",
    "read_rig": "rig.file",
    "AxisError": "alignment.error",
    "axis_error": "alignment.error",
    "AxisFit": "axis.fit",
    "fit_axis": "axis.fit",
    "Frame": "frames",
    "read_frame": "frames",
    "read_frames": "frames",
    "Measurement": "measurement.result",
    "measure": "measurement.measurement",
    "measure_frames": "measurement.measurement",
    "simulate_frames": "simulate",
    "Site": "site",
    "Optics": "outlook.optics",
    "optics_from": "outlook.optics",
    "Outlook": "outlook.outlook",
    "predict_drift": "outlook.drift",
    "set_scene": "outlook.scene",
    "exposure_limit": "outlook.exposure",
    "find_stars": "stars",
    "find_target": "sky.catalogue",
}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that starting up stays quick."""
    if name not in __all__:
        raise AttributeError(f"module 'polarcheck' has no attribute {name!r}")
    return getattr(import_module(f"polarcheck.{_ROOMS.get(name, 'errors')}"), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])


def _presenter() -> Presenter:
    report = import_module("polarcheck.report")
    presenter: Presenter = report.NotebookPresenter()
    return presenter


present_with(_presenter)
