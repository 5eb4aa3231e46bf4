"""The files of many fields together: tables, summary, what is wrong, and an index map that opens offline."""

from __future__ import annotations

import csv
import json
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import shapely

from fieldmap.batch.fields import field_line, fields_text, headline, orders_by_kind
from fieldmap.export import cut_at_180, defused
from fieldmap.report import summary
from fieldmap.units import area_text, rate_text, shown_rate, whole
from fieldmap.webmap import assets

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from fieldmap.batch.fields import FieldRows, Summary
    from fieldmap.units import UnitSystem


TOGETHER = ("fields.parquet", "zones.parquet", "problems.csv", "summary.json", "index.html")
BESIDE = "together"  # part of the name of the folder that they are written in first
INDEX_TOLERANCE_DEG = 2e-5  # about 2 m: an outline on the index map needs no more
INDEX_DECIMALS = 5
LISTED = 200  # rows of a table on the page; the files hold all


def write_together(
    folder: Path,
    rows: Sequence[FieldRows],
    farm: Summary,
    problems: Sequence[tuple[str, str]],
    *,
    linked: bool,
) -> None:
    """Write the tables, the summary and the index page; those of an earlier start are replaced once all are written.

    Parameters
    ----------
    folder
        Of the batch.
    rows, farm
        From `fieldmap.batch.fields`; rows by name.
    problems
        Field and message, for fields without files.
    linked
        Whether the fields' folders hold a map to link to.
    """
    with tempfile.TemporaryDirectory(prefix=f".{BESIDE}-", dir=folder) as beside:
        fresh = Path(beside)
        _write_table(fresh / "fields.parquet", [(row.figures, row.outline) for row in rows])
        _write_table(fresh / "zones.parquet", [zone for row in rows for zone in row.zones])
        with (fresh / "problems.csv").open("w", newline="", encoding="utf-8") as file:
            table = csv.writer(file)
            table.writerow(("field", "problem"))
            table.writerows((defused(name), defused(message)) for name, message in problems)
        text = json.dumps(_summary(farm), indent=1, ensure_ascii=False, allow_nan=False)
        (fresh / "summary.json").write_text(text + "\n", encoding="utf-8")
        page = index_page(folder.name, rows, farm, problems, linked=linked)
        (fresh / "index.html").write_text(page, encoding="utf-8", newline="\n")
        for name in TOGETHER:
            (fresh / name).replace(folder / name)


def _write_table(path: Path, rows: Sequence[tuple[dict[str, Any], BaseGeometry]]) -> None:
    """GeoParquet, longitude and latitude; without any row it has a geometry column only."""
    frame = gpd.GeoDataFrame(
        [figures for figures, _ in rows],
        geometry=[cut_at_180(shape) for _, shape in rows],
        crs="OGC:CRS84",
    )
    frame.to_parquet(path, index=False, write_covering_bbox=True)


def _summary(farm: Summary) -> dict[str, Any]:
    return {
        "fields": farm.fields,
        "area_ha": farm.area_ha,
        "failed": farm.failed,
        "product_to_order": [asdict(order) for order in farm.orders],
        "worth_it": [
            {name: row[name] for name in ("field", "name", "area_ha", "n_put_right_kg", "chance")}
            for row in farm.worth
        ],
        "more_samples": [
            {name: row[name] for name in ("field", "name", "area_ha", "samples", "what_would_change_it")}
            for row in farm.more_samples
        ],
    }


def index_page(
    name: str,
    rows: Sequence[FieldRows],
    farm: Summary,
    problems: Sequence[tuple[str, str]],
    *,
    linked: bool,
) -> str:
    """The page, as HTML: what to order, a map of all fields, where varying is worth it, what is wrong.

    Everything users wrote is escaped, or reaches the map as JSON and is shown as text.
    """
    units = farm.units
    features = [_feature(row, units, linked=linked) for row in rows]
    scripts = [assets.leaflet_js(), assets.asset("fields.js")]
    told = {row["field"] for row in (*farm.worth, *farm.more_samples)}
    others = sorted(
        (row.figures for row in rows if row.figures["field"] not in told), key=lambda one: one["name"]
    )
    return assets.template("fields.html").render(
        name=name,
        headline=headline(farm),
        area=area_text(farm.area_ha, units),
        summary=farm,
        by_kind=[(kind, summary.mass_to_order_text(kg, units)) for kind, kg in orders_by_kind(farm).items()],
        orders=[
            (
                order.farm,
                summary.mass_to_order_text(order.product_kg, units),
                order.product,
                whole(order.fields),
            )
            for order in farm.orders
        ],
        worth=[field_line(row, units)[:-1] for row in farm.worth[:LISTED]],
        more_samples=[
            (*field_line(row, units)[:3], row["what_would_change_it"]) for row in farm.more_samples[:LISTED]
        ],
        others=[field_line(row, units) for row in others[:LISTED]],
        number_of_others=len(others),
        fields_text=fields_text,
        problems=problems[:LISTED],
        listed=LISTED,
        imperial=units == "us",
        fields=_as_script({"type": "FeatureCollection", "features": features}),
        scripts=scripts,
        hashes=[assets.script_hash(script) for script in scripts],
        licence=assets.asset("leaflet/LICENSE"),
        styles=assets.leaflet_css() + assets.asset("map.css") + assets.asset("fields.css"),
    )


def _feature(row: FieldRows, units: UnitSystem, *, linked: bool) -> dict[str, Any]:
    """A field on the map, with the lines of its bubble."""
    figures = row.figures
    simple = shapely.simplify(row.outline, INDEX_TOLERANCE_DEG)
    name, area, samples, order, put_right, verdict = field_line(figures, units)
    low, high = figures["rate_n_low_kg_ha"], figures["rate_n_high_kg_ha"]
    rates = rate_text(high, units)
    if low < high:
        rates = f"{whole(shown_rate(low, units))} to {rates}"
    lines = [
        ("Area", area),
        ("Crop", figures["crop"]),
        ("Order", order),
        ("Nitrogen", rates),
        ("Zones", str(figures["zones"])),
        ("Samples", samples),
        ("Varying", verdict),
        ("Put right", f"{put_right} of nitrogen"),
    ]
    if figures["farm"]:
        lines.insert(0, ("Farm", figures["farm"]))
    at = row.outline.representative_point()
    return {
        "type": "Feature",
        "geometry": _rounded(shapely.geometry.mapping(simple)),
        "properties": {
            "name": name,
            "look": "vary" if figures["vary"] else "cannot tell" if verdict == "cannot tell" else "one rate",
            "at": [round(at.y, INDEX_DECIMALS), round(at.x, INDEX_DECIMALS)],
            "lines": lines,
            "page": f"{figures['field']}/map.html" if linked else "",
        },
    }


def _rounded(mapping: dict[str, Any]) -> dict[str, Any]:
    def each(value: Any) -> Any:
        return (
            [each(one) for one in value] if isinstance(value, list | tuple) else round(value, INDEX_DECIMALS)
        )

    return {"type": mapping["type"], "coordinates": each(mapping["coordinates"])}


def _as_script(data: dict[str, Any]) -> str:
    """JSON that no text in it can end or turn into markup."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
