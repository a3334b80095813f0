"""Write docs/schemas/NAME.json from the models that write and read results: ``python -m tests.write_schemas``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from polarcheck import (
    digest,
    followup,
    measurement,
    night,
    outlook,
    planning,
    rig,
    simulate,
    solving,
    stars,
    watch,
)
from polarcheck.schema import Schema

FOLDER = Path(__file__).parents[1] / "docs" / "schemas"

MODELS: tuple[type[Schema], ...] = (
    measurement.MeasurementSchema,
    followup.CorrectionSchema,
    followup.FollowedSchema,
    outlook.DriftSchema,
    outlook.DriftCheckSchema,
    outlook.ExposureSchema,
    outlook.ExposureListSchema,
    outlook.MapSchema,
    outlook.TimelineSchema,
    planning.RoughSchema,
    planning.PlanSchema,
    planning.TrackedPlanSchema,
    rig.RigSchema,
    simulate.TruthSchema,
    solving.SolveSchema,
    stars.StarsSchema,
    digest.ReportSchema,
    night.MeasuredEvent,
    night.FollowedEvent,
    night.AdviceEvent,
    night.TurnedEvent,
    night.RefusedEvent,
    night.CheckedEvent,
    night.MovedEvent,
    watch.EveningSchema,
    night.NightSchema,
)

_DRAFT = "https://json-schema.org/draft/2020-12/schema"


def name_of(model: type[Schema]) -> str:
    """`polarcheck.drift-check/1` lies in `drift-check.json`; an event's name has its kind behind it."""
    name = kind_of(model).removeprefix("polarcheck.").split("/")[0]
    event = model.model_fields.get("event")
    return name if event is None else f"{name}-{event.default}"


def kind_of(model: type[Schema]) -> str:
    """What its key ``schema`` says."""
    return str(model.model_fields["schema_"].default)


def json_schema(model: type[Schema]) -> dict[str, Any]:
    """The JSON Schema of a result, the same for every version of pydantic."""
    content = plain(model.model_json_schema())
    always = [key for key in ("schema", "event") if key in content["properties"]]
    content["required"] = [*always, *content["required"]]
    for key in always:
        content["properties"][key].pop("default")
    return {"$schema": _DRAFT, "title": kind_of(model), **content}


def plain(value: Any) -> Any:
    """Without generated titles, and with one way of writing a constant, a bound and a described reference."""
    if isinstance(value, list):
        return [plain(part) for part in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if not isinstance(value, dict):
        return value
    kept = {key: plain(part) for key, part in value.items() if not (key == "title" and isinstance(part, str))}
    if kept.get("additionalProperties") is True:  # some versions say what goes without saying
        kept.pop("additionalProperties")
    if "const" in kept:
        kept.pop("enum", None)
        kept.pop("type", None)
    if len(kept.get("allOf", ())) == 1:
        kept |= kept.pop("allOf")[0]
    return dict(sorted(kept.items(), key=lambda item: _ORDER.get(item[0], len(_ORDER))))


_ORDER = {
    key: i for i, key in enumerate(("description", "const", "default", "type", "required", "properties"))
}


def text(content: dict[str, Any]) -> str:
    """As it stands in the file."""
    return json.dumps(content, indent=1) + "\n"


def main() -> None:
    """Write all of them and take away what no model writes."""
    FOLDER.mkdir(exist_ok=True)
    written = {FOLDER / f"{name_of(model)}.json": text(json_schema(model)) for model in MODELS}
    for path in set(FOLDER.glob("*.json")) - set(written):
        path.unlink()
    for path, content in written.items():
        path.write_text(content, encoding="utf-8")


if __name__ == "__main__":
    main()
