"""Files of our own, read back: what each of them holds."""

from __future__ import annotations

import csv
import io
import json
import zipfile
import zlib
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

import numpy as np
import rasterio
from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeTree

from fieldmap.errors import InputError, Problem
from fieldmap.read import files, layers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path
    from typing import Any


MAX_BYTES = 64 * 2**20
MG_M2_PER_KG_HA = 100.0


def describe(path: Path) -> str:
    """Say in a sentence what an exported file holds.

    Raises
    ------
    InputError
        For a file that fieldmap did not write.
    """
    files.check_file(path, limit=MAX_BYTES)
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise _not_ours(path, f"its ending {path.suffix or '(none)'} is none of ours")
    try:
        return f"{path.name}: {reader(path)}"
    except (
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        OSError,
        ParseError,
        DefusedXmlException,
    ) as error:
        raise _not_ours(path, "it does not hold what fieldmap writes") from error
    except (zipfile.BadZipFile, zlib.error, rasterio.errors.RasterioError) as error:
        raise _not_ours(path, "it cannot be opened") from error


def _not_ours(path: Path, found: str) -> InputError:
    expected = "a plan folder, or a file that a run wrote, is expected"
    return InputError(Problem(path.name, found, expected, "Name another file"))


def _zones(rows: Iterable[Mapping[Any, Any]]) -> str:
    """Zones, area, nitrogen, product."""
    table = list(rows)
    nitrogen = [float(row["rate_n_kg_ha"]) for row in table]
    product = [float(row["product_kg_ha"]) for row in table]
    return (
        f"{len(table)} polygons in {len({str(row['zone']) for row in table})} zones, "
        f"{sum(float(row['area_ha']) for row in table):.2f} ha; nitrogen {_range(nitrogen)} kg/ha; "
        f"{next(iter(row['product'] for row in table))} {_range(product)} kg/ha, "
        f"{sum(float(row['product_kg']) for row in table):,.0f} kg in all."
    )


def _range(values: list[float]) -> str:
    low, high = min(values), max(values)
    return f"{low:.2f}" if low == high else f"{low:.2f} to {high:.2f}"


def _geojson(path: Path) -> str:
    return _zones(layers.read_layer(path).drop(columns="geometry").to_dict("records"))


def _geopackage(path: Path) -> str:
    return _zones(layers.read_layer(path, layer="zones").drop(columns="geometry").to_dict("records"))


def _csv(path: Path) -> str:
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    columns = set(rows[0]) if rows else set(path.read_text(encoding="utf-8").strip().split(","))
    if "block_rate_n_kg_ha" in columns:
        nitrogen_kg, product_kg = (sum(float(row[name]) for row in rows) for name in ("n_kg", "product_kg"))
        return (
            f"what goes through drip in {len(rows)} zones of {len({row['block'] for row in rows})} blocks: "
            f"{nitrogen_kg:,.0f} kg of nitrogen in {product_kg:,.0f} kg of {rows[0]['product']}."
        )
    if "rate_n_kg_ha" in columns:
        return _zones(rows)
    if "pass_from" in columns:
        return (
            f"{len(rows)} loads, {sum(float(row['product_kg']) for row in rows):,.0f} kg of product in all."
        )
    if "released_kg_ha" in columns:
        blocks = len({row["block"] for row in rows})
        return f"{len(rows)} weeks of {blocks} blocks." if rows else "no weeks: the plan had no weather."
    raise ValueError(columns)


def _tif(path: Path) -> str:
    with rasterio.open(path, driver="GTiff") as tif:
        product = tif.read(tif.descriptions.index("product_kg_ha") + 1, masked=True)
        cell_ha = abs(tif.transform.a * tif.transform.e) / 10_000.0
        spread = int(np.ma.count(product))
        return (
            f"{tif.count} bands of {tif.height} x {tif.width} cells of {tif.transform.a:g} m "
            f"({', '.join(name for name in tif.descriptions if name)}); product on {spread * cell_ha:.2f} ha, "
            f"about {float(product.sum()) * cell_ha:,.0f} kg in all."
        )


def _json(path: Path) -> str:
    told = json.loads(path.read_text(encoding="utf-8"))
    if told.get("type") == "FeatureCollection":
        return _geojson(path)
    return (
        f"the figures of {told['name']}, {told['field']['area_ha']:.2f} ha: {_zones_of_figures(told)} "
        f"{told['verdict']['text']}"
    )


def _zones_of_figures(told: dict[str, Any]) -> str:
    zones = told["zones"]
    return (
        f"{len({zone['zone'] for zone in zones})} zones, nitrogen "
        f"{_range([float(zone['rate_n_kg_ha']) for zone in zones])} kg/ha, "
        f"{told['totals']['product_kg']:,.0f} kg of {zones[0]['product']} in all."
    )


def _zip(path: Path) -> str:
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        if "TASKDATA/TASKDATA.XML" not in names:
            return _shapefile(path)
        if archive.getinfo("TASKDATA/TASKDATA.XML").file_size > files.MAX_BINARY_BYTES:
            raise ValueError("too large")
        root = SafeTree.fromstring(archive.read("TASKDATA/TASKDATA.XML"), forbid_dtd=True)
    rates = sorted({int(value.attrib["B"]) / MG_M2_PER_KG_HA for value in root.iter("PDV")})
    (product,) = root.iter("PDT")
    version = f"{root.get('VersionMajor')}.{root.get('VersionMinor')}"
    grid = root.find("TSK/GRD")
    form = f"a grid of {grid.get('F')} x {grid.get('E')} cells" if grid is not None else "polygons"
    return (
        f"ISO 11783-10 task data, version {version}, {form}; {product.attrib['B']} at "
        f"{', '.join(f'{rate:.2f}' for rate in rates)} kg/ha of product."
    )


def _shapefile(path: Path) -> str:
    frame = layers.read_layer(path)
    return (
        f"{len(frame)} polygons in {frame['ZONE'].nunique()} zones, {frame['AREA_HA'].sum():.2f} ha; "
        f"{frame['PRODUCT'].iloc[0]} {_range(frame['RATE'].tolist())} {frame['UNIT'].iloc[0]} of product; nitrogen "
        f"{_range(frame['N_KGHA'].tolist())} kg/ha."
    )


def _gpx(path: Path) -> str:
    root = SafeTree.fromstring(files.read_bytes(path, limit=MAX_BYTES), forbid_dtd=True)
    if root.get("creator") != "fieldmap":
        raise ValueError("another creator")
    return f"{len(root.findall('{http://www.topografix.com/GPX/1/1}wpt'))} samples as waypoints."


def _page(path: Path) -> str:
    start = files.read_bytes(path, limit=MAX_BYTES)[:400_000]
    if (
        path.suffix.lower() == ".pdf"
        and start.startswith(b"%PDF")
        and b"fieldmap" in files.read_bytes(path, limit=MAX_BYTES)
    ):
        return "a report or card to print."
    if path.suffix.lower() == ".html" and b"leaflet" in start:
        return "a map to open in a browser."
    raise ValueError("another page")


_READERS: dict[str, Callable[[Path], str]] = {
    ".geojson": _geojson,
    ".json": _json,
    ".gpkg": _geopackage,
    ".csv": _csv,
    ".tif": _tif,
    ".zip": _zip,
    ".gpx": _gpx,
    ".html": _page,
    ".pdf": _page,
}
