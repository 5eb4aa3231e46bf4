"""samples.gpx: the samples as waypoints, GPX 1.1."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from fieldmap.export.formats.geojson import DECIMALS
from fieldmap.export.rows import sample_rows
from fieldmap.units import rate_text

if TYPE_CHECKING:
    from pathlib import Path

    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


NAMESPACE = "http://www.topografix.com/GPX/1/1"


def write_gpx(result: Result, _one: ApplicationMap, path: Path) -> None:
    """Write one waypoint a sample: its name, and its dry biomass as description."""
    ET.register_namespace("", NAMESPACE)
    root = ET.Element(f"{{{NAMESPACE}}}gpx", version="1.1", creator="fieldmap")
    units = result.plan.units
    for row in sample_rows(result):
        place = {"lat": f"{row['latitude']:.{DECIMALS}f}", "lon": f"{row['longitude']:.{DECIMALS}f}"}
        waypoint = ET.SubElement(root, f"{{{NAMESPACE}}}wpt", place)
        ET.SubElement(waypoint, f"{{{NAMESPACE}}}name").text = row["sample"]
        ET.SubElement(
            waypoint, f"{{{NAMESPACE}}}desc"
        ).text = f"{rate_text(row['dry_kg_ha'], units)} dry biomass"
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
