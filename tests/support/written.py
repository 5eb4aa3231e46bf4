"""What a run wrote, by name: keys of result.json, columns of tables and layers, bands, elements."""

import csv
import json
import zipfile
from xml.etree import ElementTree as ET

import pyogrio
import rasterio


def json_paths(node, path="", *, leaves=("plan", "versions", "zones_width.losses")):
    """Every path of a JSON value, `[]` for the entries of a list; of `leaves` only themselves."""
    if path in leaves or not isinstance(node, dict | list) or node == {}:
        yield path
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from json_paths(value, f"{path}.{key}" if path else key, leaves=leaves)
    elif not any(isinstance(each, dict) for each in node):
        yield path
    else:
        for each in node:
            yield from json_paths(each, f"{path}[]", leaves=leaves)


def names_written(folder):
    """By file: the set of names in it."""
    return {
        str(path.relative_to(folder)): set(_NAMES[path.name](path))
        for path in sorted(folder.rglob("*"))
        if path.name in _NAMES
    }


def _csv(path):
    with path.open(newline="", encoding="utf-8") as file:
        return next(csv.reader(file))


def _geojson(path):
    features = json.loads(path.read_text())["features"]
    return {"id", *(name for feature in features for name in feature["properties"])}


def _gpkg(path):
    for layer, _ in pyogrio.list_layers(path):
        columns = pyogrio.read_info(path, layer=layer)["fields"]
        if layer == "about":
            yield from (f"about.{key}" for key in pyogrio.read_dataframe(path, layer=layer)["key"])
        else:
            yield from (f"{layer}.{column}" for column in columns)


def _shapefile(path):
    return pyogrio.read_info(f"/vsizip/{path}/zones.shp")["fields"]


def _tif(path):
    with rasterio.open(path) as tif:
        assert set(tif.units) == {"kg/ha", "%"}
        return tif.descriptions


def _taskdata(path):
    with zipfile.ZipFile(path) as archive:
        root = ET.fromstring(archive.read("TASKDATA/TASKDATA.XML"))  # noqa: S314 - our own file
    yield from {element.tag for element in root.iter()}
    yield from {f"DDI {int(value.get('A'), 16)}" for value in root.iter("PDV")}


def _gpx(path):
    return {element.tag.partition("}")[2] for element in ET.parse(path).iter()}  # noqa: S314 - our own file


_NAMES = {
    "zones.geojson": _geojson,
    "zones.gpkg": _gpkg,
    "zones_shapefile.zip": _shapefile,
    "taskdata_grid.zip": _taskdata,
    "taskdata_zones.zip": _taskdata,
    "samples.gpx": _gpx,
    "zones.csv": _csv,
    "loads.csv": _csv,
    "season.csv": _csv,
    "drip.csv": _csv,
    "surface.tif": _tif,
    "result.json": lambda path: json_paths(json.loads(path.read_text())),
}
