"""Files of our own, read back: one reader a kind of file, each saying in a sentence what such a file holds."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from typing import TYPE_CHECKING

import numpy as np
import rasterio
from defusedxml import ElementTree as SafeTree

from fieldmap.read import files, layers

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path
    from typing import Any


MAX_BYTES = 64 * 2**20
MG_M2_PER_KG_HA = 100.0


class AnotherFileError(ValueError):
    """A file of another kind with the same ending."""


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


def geojson(path: Path) -> str:
    """Zones by RFC 7946."""
    return _zones(layers.read_layer(path).drop(columns="geometry").to_dict("records"))


def geopackage(path: Path) -> str:
    """The layer of zones."""
    return _zones(layers.read_layer(path, layer="zones").drop(columns="geometry").to_dict("records"))


def _csv(path: Path, *, own_column: str) -> list[dict[str, str]]:
    """The rows of a table that is told from our others by a column of its own."""
    table = csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline=""))
    if own_column not in (table.fieldnames or ()):
        raise AnotherFileError(path.name)
    return list(table)


def drip_csv(path: Path) -> str:
    """What goes through drip."""
    rows = _csv(path, own_column="block_rate_n_kg_ha")
    nitrogen_kg, product_kg = (sum(float(row[name]) for row in rows) for name in ("n_kg", "product_kg"))
    return (
        f"what goes through drip in {len(rows)} zones of {len({row['block'] for row in rows})} blocks: "
        f"{nitrogen_kg:,.0f} kg of nitrogen in {product_kg:,.0f} kg of {rows[0]['product']}."
    )


def zones_csv(path: Path) -> str:
    """The zone table."""
    return _zones(_csv(path, own_column="credit_used_kg_ha"))


def loads_csv(path: Path) -> str:
    """Where loads run out."""
    rows = _csv(path, own_column="pass_from")
    return f"{len(rows)} loads, {sum(float(row['product_kg']) for row in rows):,.0f} kg of product in all."


def season_csv(path: Path) -> str:
    """The season by week."""
    rows = _csv(path, own_column="released_kg_ha")
    blocks = len({row["block"] for row in rows})
    return f"{len(rows)} weeks of {blocks} blocks." if rows else "no weeks: the plan had no weather."


def geotiff(path: Path) -> str:
    """Rasters of the field."""
    with rasterio.open(path, driver="GTiff") as tif:
        product = tif.read(tif.descriptions.index("product_kg_ha") + 1, masked=True)
        cell_ha = abs(tif.transform.a * tif.transform.e) / 10_000.0
        spread = int(np.ma.count(product))
        return (
            f"{tif.count} bands of {tif.height} x {tif.width} cells of {tif.transform.a:g} m "
            f"({', '.join(name for name in tif.descriptions if name)}); product on {spread * cell_ha:.2f} ha, "
            f"about {float(product.sum()) * cell_ha:,.0f} kg in all."
        )


def figures_json(path: Path) -> str:
    """Every figure of a run."""
    told = json.loads(path.read_text(encoding="utf-8"))
    if told.get("type") == "FeatureCollection":
        return geojson(path)
    return (
        f"the figures of {told['name']}, {told['field']['area_ha']:.2f} ha: {_zones_of_figures(told)} "
        f"{told['verdict']['text']}"
    )


def _zones_of_figures(told: dict[str, Any]) -> str:
    zones = told["zones"]
    ordered = (f"{one['product_kg']:,.0f} kg of {one['product']}" for one in told["totals"]["products"])
    return (
        f"{len({zone['zone'] for zone in zones})} zones, nitrogen "
        f"{_range([float(zone['rate_n_kg_ha']) for zone in zones])} kg/ha, "
        f"{' and '.join(ordered)} in all."
    )


def taskdata(path: Path) -> str:
    """Task data, as a grid or as polygons."""
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        if "TASKDATA/TASKDATA.XML" not in names:
            raise AnotherFileError(path.name)
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


def shapefile(path: Path) -> str:
    """Zones as a shapefile."""
    frame = layers.read_layer(path)
    return (
        f"{len(frame)} polygons in {frame['ZONE'].nunique()} zones, {frame['AREA_HA'].sum():.2f} ha; "
        f"{frame['PRODUCT'].iloc[0]} {_range(frame['RATE'].tolist())} {frame['UNIT'].iloc[0]} of product; nitrogen "
        f"{_range(frame['N_KGHA'].tolist())} kg/ha."
    )


def gpx(path: Path) -> str:
    """The samples."""
    root = SafeTree.fromstring(files.read_bytes(path, limit=MAX_BYTES), forbid_dtd=True)
    if root.get("creator") != "fieldmap":
        raise ValueError("another creator")
    return f"{len(root.findall('{http://www.topografix.com/GPX/1/1}wpt'))} samples as waypoints."


def calendar(path: Path) -> str:
    """What to do."""
    text = files.read_bytes(path, limit=MAX_BYTES).decode("utf-8")
    if "PRODID:-//fieldmap//" not in text:
        raise AnotherFileError(path.name)
    return f"{text.count('BEGIN:VEVENT')} days of the list of what to do, for a calendar."


def pdf(path: Path) -> str:
    """The report or the card."""
    told = files.read_bytes(path, limit=MAX_BYTES)
    if not (told.startswith(b"%PDF") and b"fieldmap" in told):
        raise AnotherFileError(path.name)
    return "a report or card to print."


def web_page(path: Path) -> str:
    """The map."""
    if b"leaflet" not in files.read_bytes(path, limit=MAX_BYTES)[:400_000]:
        raise AnotherFileError(path.name)
    return "a map to open in a browser."
