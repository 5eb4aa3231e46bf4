"""The JSON Schema of plan.toml, for editors that complete and check a plan as it is written.

It says what each key takes and means; what keys must agree on (dates in their order, a stage or a %N) only reading
the plan finds. `fieldmap/assets/plan.schema.json` is this schema, written by ``make docs``.
"""

from __future__ import annotations

import copy
import functools
import json
from typing import TYPE_CHECKING, Any

from fieldmap import agronomy, units
from fieldmap.plan.model import Plan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    _Named = agronomy.CoverCropEntry | agronomy.CropEntry | agronomy.Product

DIALECT = "https://json-schema.org/draft/2020-12/schema"
# Names that the tables know; others are refused as the plan is read, aliases are not.
_NAMED: dict[tuple[str, str], Callable[[], Iterable[_Named]]] = {
    ("CoverCrop", "species"): agronomy.cover_crops,
    ("Crop", "name"): agronomy.crops,
    ("Crop", "like"): agronomy.crops,
    ("Spreader", "product"): agronomy.products,
    ("ApplicationSection", "product"): agronomy.products,
}
FILLED = {"ended_by"}  # left out, they follow from other keys as the plan is read
_LIMITS = {"gt", "ge", "lt", "le", "exclusiveMinimum", "minimum", "exclusiveMaximum", "maximum"}


@functools.cache
def plan_schema() -> dict[str, Any]:
    """The schema, draft 2020-12; the keys are those of plan.toml. Not to be changed by who asks for it."""
    schema = Plan.model_json_schema(by_alias=True)
    _take_out(schema, "folder")
    models = schema["$defs"]
    for (model, key), entries in _NAMED.items():
        _text_of(models[model]["properties"][key])["examples"] = [entry.name for entry in entries()]
    for key in FILLED:
        models["CoverCrop"]["required"].remove(key)
    for part, model in (("crop", "Crop"), ("cover_crop", "CoverCrop")):  # a block gives what differs
        own = copy.deepcopy(models[model])
        del own["required"]
        models[f"Block{model}"] = own
        models["BlockSection"]["properties"][part]["$ref"] = f"#/$defs/Block{model}"
    models["BlockSection"]["required"] = ["block"]
    tidy: dict[str, Any] = _tidied(schema)
    return {"$schema": DIALECT, "title": "plan.toml", **tidy}


def schema_text() -> str:
    """The schema as it stands in the file."""
    return json.dumps(plan_schema(), indent=1, ensure_ascii=False) + "\n"


def _take_out(schema: dict[str, Any], key: str) -> None:
    del schema["properties"][key]
    schema["required"].remove(key)


def _text_of(node: dict[str, Any]) -> dict[str, Any]:
    """The part of a key's schema that is text."""
    ways: list[dict[str, Any]] = node.get("anyOf", [node])
    return next(way for way in ways if way.get("type") == "string")


def _tidied(node: Any) -> Any:
    """Without what TOML has no word for (null), and with defaults of quantities as a person writes them."""
    if isinstance(node, list):
        return [_tidied(each) for each in node]
    if not isinstance(node, dict):
        return node
    if "properties" in node:
        inner = {key: _tidied(each) for key, each in node["properties"].items()}
        return {
            **_tidied({k: v for k, v in node.items() if k not in ("properties", "title")}),
            "properties": inner,
        }
    if "$defs" in node:
        node = {**node, "$defs": dict(sorted(node["$defs"].items()))}
    ways = [way for way in node.get("anyOf", []) if way != {"type": "null"}]
    if len(ways) == 1:
        node = {**ways[0], **{key: value for key, value in node.items() if key not in ("anyOf", "title")}}
    elif ways:
        node = {**node, "anyOf": ways}
    kind = units.KINDS.get(node.get("title", ""))
    tidy = {key: _tidied(value) for key, value in node.items() if not _is_noise(key, value, node)}
    if kind is not None and "default" in tidy:
        tidy["default"] = _written(tidy["default"], kind)
    return tidy


def _is_noise(key: str, value: Any, node: dict[str, Any]) -> bool:
    """Names made up from code, defaults of nothing, and limits in SI units of what is written as text."""
    if key == "title":
        return value not in units.KINDS and value != "a price"
    return (key == "default" and value in (None, "", [])) or (key in _LIMITS and node.get("type") == "string")


def _written(value: float, kind: units.Kind) -> str:
    """A number of the kind's SI unit as a plan has it: 3.33 as "12 km/h"."""
    unit = kind.unit_in("metric")
    return f"{value / units.parse_quantity(f'1 {unit}', kind):g} {unit}"
