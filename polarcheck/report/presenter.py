"""What a notebook shows of each kind of result: its dict, its table, its picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from os import PathLike
from typing import TYPE_CHECKING, Any

from polarcheck import followup, measurement, outlook, rig
from polarcheck.given import as_path
from polarcheck.report import tables
from polarcheck.report.pictures.axis import draw_measurement
from polarcheck.report.pictures.canvas import own_style, save
from polarcheck.report.pictures.drift import draw_drift
from polarcheck.report.pictures.sky_map import draw_map
from polarcheck.report.pictures.timeline import draw_timeline

if TYPE_CHECKING:
    from astropy.table import QTable
    from matplotlib.figure import Figure

    from polarcheck.schema import Table

__all__ = ["NotebookPresenter"]

_DICTS: Mapping[str, Callable[[Any], Table | dict[str, Any]]] = {
    "Correction": lambda result: followup.CorrectionSchema.of(result),
    "Drift": lambda result: outlook.DriftSchema.own(result),
    "DriftCheck": lambda result: outlook.DriftCheckSchema.own(result),
    "Exposure": lambda result: outlook.ExposureSchema.own(result),
    "Followed": lambda result: followup.FollowedSchema.of(result),
    "Measurement": lambda result: measurement.MeasurementSchema.of(result),
    "RigSummary": lambda result: rig.RigSchema.of(result),
    "SkyMap": lambda result: outlook.MapSchema.own(result),
    "Timeline": lambda result: outlook.TimelineSchema.own(result),
}
_TABLES: Mapping[str, Callable[[Any], QTable]] = {
    "Drift": tables.drift_table,
    "DriftCheck": tables.drift_check_table,
    "Measurement": tables.measurement_table,
    "SkyMap": tables.map_table,
    "Timeline": tables.timeline_table,
}
_PICTURES: Mapping[str, Callable[[Any], Figure]] = {
    "Drift": draw_drift,
    "Measurement": draw_measurement,
    "SkyMap": draw_map,
    "Timeline": draw_timeline,
}


class NotebookPresenter:
    """Shows results by the name of their kind, so that none of the rooms need be loaded for another's sake."""

    def dict_of(self, result: object) -> dict[str, Any]:
        """Return the keys of the result's JSON."""
        from pydantic_core import to_jsonable_python  # when it is asked for, like the schemas

        content: dict[str, Any] = to_jsonable_python(_DICTS[type(result).__name__](result), by_alias=True)
        return content

    def table_of(self, result: object) -> QTable:
        """Return the result's rows."""
        return _TABLES[type(result).__name__](result)

    def figure_of(self, result: object) -> Figure:
        """Return the result's picture."""
        return _PICTURES[type(result).__name__](result)

    def save(self, figure: Figure, path: str | PathLike[str]) -> None:
        """Write a picture."""
        with own_style():
            save(figure, as_path(path))
