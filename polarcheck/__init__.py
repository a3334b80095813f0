"""How far a telescope mount's polar axis is off, from plate-solved frames.

>>> from polarcheck import measure
>>> result = measure("sample_frames/north_sweep")
>>> round(result.error.total_arcmin)
20
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from polarcheck.alignment import AxisError, axis_error
    from polarcheck.axis import AxisFit, fit_axis
    from polarcheck.errors import FitError, FrameError, GeometryError, InputError, Notice, PolarcheckError
    from polarcheck.frames import Frame, read_frame, read_frames
    from polarcheck.measurement import Measurement, measure, measure_frames
    from polarcheck.outlook import Optics, Outlook, exposure_limit, predict_drift, set_scene
    from polarcheck.simulate import simulate_frames
    from polarcheck.site import Site
    from polarcheck.sky import find_target
    from polarcheck.stars import find_stars

__version__ = "0.1.0"

__all__ = [
    "AxisError",
    "AxisFit",
    "FitError",
    "Frame",
    "FrameError",
    "GeometryError",
    "InputError",
    "Measurement",
    "Notice",
    "Optics",
    "Outlook",
    "PolarcheckError",
    "Site",
    "axis_error",
    "exposure_limit",
    "find_stars",
    "find_target",
    "fit_axis",
    "measure",
    "measure_frames",
    "predict_drift",
    "read_frame",
    "read_frames",
    "set_scene",
    "simulate_frames",
]

_ROOMS = {
    "AxisError": "alignment.error",
    "axis_error": "alignment.error",
    "AxisFit": "axis.fit",
    "fit_axis": "axis.fit",
    "Frame": "frames",
    "read_frame": "frames",
    "read_frames": "frames",
    "Measurement": "measurement.measurement",
    "measure": "measurement.measurement",
    "measure_frames": "measurement.measurement",
    "simulate_frames": "simulate",
    "Site": "site",
    "Optics": "outlook.optics",
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
