"""The folder that a run wrote, read back: whether it is whole and of this plan, and its figures."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pyogrio.raw
import shapely

from fieldmap.budget import Application

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path
    from typing import Any

    from shapely.geometry.base import BaseGeometry


RESULT_FILE, ZONES_FILE, LAYERS_FILE = "result.json", "zones.geojson", "zones.gpkg"


@dataclass(frozen=True)
class FieldFolder:
    """What the files of one field say.

    `result` is result.json; `outline` the blocks together in `crs` (metres); `zones` the features of
    zones.geojson, of each application: properties and polygon in degrees.
    """

    result: dict[str, Any]
    outline: BaseGeometry
    crs: str
    zones: tuple[tuple[tuple[dict[str, Any], BaseGeometry], ...], ...]


def is_written(folder: Path, *, files: Collection[str], plan_hash: str, versions: dict[str, str]) -> bool:
    """Whether the folder holds exactly these files (paths inside it), of this plan and inputs, by these versions."""
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()}
    if there != {*files}:
        return False
    try:
        result = json.loads((folder / RESULT_FILE).read_bytes())
    except (OSError, ValueError):
        return False
    return bool(result.get("plan_hash") == plan_hash and result.get("versions") == versions)


def read_field_folder(folder: Path) -> FieldFolder:
    """Read back what the tables of many fields are made of."""
    result = json.loads((folder / RESULT_FILE).read_bytes())
    several = len(result["applications"]) > 1
    folders = [
        folder / Application.folder_of(one["application"]) if several else folder
        for one in result["applications"]
    ]
    _, _, outlines, _ = pyogrio.raw.read(folders[0] / LAYERS_FILE, layer="boundary", columns=[])
    return FieldFolder(
        result,
        shapely.union_all(shapely.from_wkb(outlines)),
        result["field"]["crs"],
        tuple(_features(each / ZONES_FILE) for each in folders),
    )


def _features(file: Path) -> tuple[tuple[dict[str, Any], BaseGeometry], ...]:
    features = json.loads(file.read_bytes())["features"]
    return tuple((one["properties"], shapely.geometry.shape(one["geometry"])) for one in features)
