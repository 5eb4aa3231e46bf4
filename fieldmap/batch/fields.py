"""Many fields together: a row a field, a row a zone, and what a consultant does first with them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely
from shapely.geometry import MultiPolygon

from fieldmap.field import to_lonlat
from fieldmap.units import area_text, mass_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

    from fieldmap.export import FieldFolder
    from fieldmap.units import UnitSystem


NO_FARM = "no farm named"
# Of a zone's row: twins in US units stand in the field's own files.
ZONE_COLUMNS = (
    "zone",
    "block",
    "crop",
    "strip",
    "area_ha",
    "need_kg_ha",
    "credit_kg_ha",
    "credit_low_kg_ha",
    "credit_high_kg_ha",
    "credit_used_kg_ha",
    "other_credits_kg_ha",
    "rate_n_kg_ha",
    "product",
    "product_kg_ha",
    "product_kg",
)


@dataclass(frozen=True)
class FieldRows:
    """One field in the tables: its row, its outline, and a row and a shape for each zone; shapes in degrees.

    `products` are those of all its applications: name, product and nitrogen in kg.
    """

    figures: dict[str, Any]
    products: tuple[tuple[str, float, float], ...]
    outline: BaseGeometry
    zones: tuple[tuple[dict[str, Any], BaseGeometry], ...]


@dataclass(frozen=True)
class Order:
    """Product of one kind to order for one farm."""

    farm: str
    product: str
    fields: int
    product_kg: float
    n_kg: float


@dataclass(frozen=True)
class Summary:
    """What a consultant does first: order, vary the rate where that serves, sample where that is due.

    Parameters
    ----------
    fields, area_ha
        Number of fields with files, and their area.
    failed
        Number of fields without.
    orders
        Product to order by farm and kind.
    worth
        Rows of the fields where varying the rate is worth it or comes closer to the need, the most nitrogen put right
        first.
    more_samples
        Rows of the fields where more samples, or a covariate, would settle whether to; the largest first.
    units
        US where every plan is, else metric.
    """

    fields: int
    area_ha: float
    failed: int
    orders: tuple[Order, ...]
    worth: tuple[dict[str, Any], ...]
    more_samples: tuple[dict[str, Any], ...]
    units: UnitSystem


def field_rows(name: str, folder: FieldFolder) -> FieldRows:
    """The rows of one field from the files that it wrote.

    Parameters
    ----------
    name
        Of its folder.
    folder
        From `fieldmap.read.field_folder.read_field_folder`.
    """
    result = folder.result
    plan, totals, verdict, surface = (result[key] for key in ("plan", "totals", "verdict", "surface"))
    zones = result["zones"]
    spread_ha = totals["area_ha"]
    areas_ha = [zone["area_ha"] for zone in zones]

    def mean(column: str) -> float:
        return round(float(np.average([zone[column] for zone in zones], weights=areas_ha)), 2)

    applications, products = result["applications"], _products(result)
    several = len(applications) > 1

    def in_all(column: str) -> float:
        return round(float(sum(one["totals"][column] for one in applications)), 2)

    rates = [zone["rate_n_kg_ha"] for zone in zones]
    flat, zoned = verdict["misplaced_n_flat_kg_ha"], verdict["misplaced_n_zones_kg_ha"]
    figures = {
        "field": name,
        "name": result["name"],
        "customer": plan["customer"],
        "farm": plan["farm"],
        "crop": ", ".join(dict.fromkeys(block["crop"] for block in result["field"]["blocks"])),
        "cover_crop": ", ".join(plan["cover_crop"]["species"]),
        "area_ha": result["field"]["area_ha"],
        "spread_ha": spread_ha,
        "samples": surface["samples"],
        "surface": surface["method"],
        "leave_one_out_rmse_kg_ha": surface["leave_one_out_rmse_kg_ha"],
        "mean_only_rmse_kg_ha": surface["mean_only_rmse_kg_ha"],
        "mean_biomass_kg_ha": surface["mean_biomass_kg_ha"],
        "need_kg_ha": mean("need_kg_ha"),
        "credit_kg_ha": mean("credit_kg_ha"),
        "zones": len({zone["zone"] for zone in zones}),
        # Over all applications; lowest and highest are of zones, and each application has its own.
        "rate_n_kg_ha": round(in_all("n_kg") / spread_ha, 2) if several else mean("rate_n_kg_ha"),
        "rate_n_low_kg_ha": np.nan if several else min(rates),
        "rate_n_high_kg_ha": np.nan if several else max(rates),
        "applications": len(applications),
        "product": "; ".join(name for name, *_ in products),
        "product_kg": in_all("product_kg"),
        "n_kg": in_all("n_kg"),
        "flat_rate_n_kg_ha": in_all("flat_rate_n_kg_ha"),
        "flat_product_kg": in_all("flat_product_kg"),
        "orders_kg": [kg for _, kg, _ in products],
        "verdict": verdict["answer"],
        "vary": verdict["vary"],
        "chance": verdict["chance"],
        "misplaced_n_zones_kg_ha": zoned,
        "misplaced_n_flat_kg_ha": flat,
        "n_put_right_kg": round((flat - zoned) * spread_ha, 1),
        "more_samples": verdict["more_samples"],
        "what_would_change_it": verdict["change"],
        "within_10_percent": result["deliverable"]["within_10_percent"],
        "warnings": len(result["warnings"]),
        "units": plan["units"],
        "plan_hash": result["plan_hash"],
    }
    outline = to_lonlat(folder.outline, pyproj.CRS.from_user_input(folder.crs))
    return FieldRows(figures, products, outline, tuple(_zone_rows(name, folder)))


def _products(result: dict[str, Any]) -> tuple[tuple[str, float, float], ...]:
    """What all applications of a field spread, by product."""
    spread: dict[str, list[float]] = {}
    for one in result["applications"]:
        kg = spread.setdefault(one["product"], [0.0, 0.0])
        kg[0] += one["totals"]["product_kg"]
        kg[1] += one["totals"]["n_kg"]
    return tuple((product, product_kg, n_kg) for product, (product_kg, n_kg) in spread.items())


def _zone_rows(name: str, folder: FieldFolder) -> list[tuple[dict[str, Any], BaseGeometry]]:
    """A row for each zone and block, and each check strip, of each application; its parts together."""
    rows: list[tuple[dict[str, Any], BaseGeometry]] = []
    for one, features in zip(folder.result["applications"], folder.zones, strict=True):
        shapes: dict[tuple[Any, ...], list[Polygon]] = {}
        for row, shape in features:
            shapes.setdefault((row["strip"], row["zone"], row["block"]), []).extend(shapely.get_parts(shape))
        told = {"field": name, "application": one["application"], "date": one["date"] or ""}
        rows += [
            (
                told | {column: row[column] for column in ZONE_COLUMNS},
                MultiPolygon(shapes[row["strip"], row["zone"], row["block"]]),
            )
            for row in (*one["zones"], *one["strips"])
        ]
    return rows


def summarise(rows: Sequence[FieldRows], *, failed: int) -> Summary:
    """What to order, where to vary the rate, where more samples are due."""
    fields = [row.figures for row in rows]
    groups: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for row in rows:
        for product, product_kg, n_kg in row.products:
            groups.setdefault((row.figures["farm"] or NO_FARM, product), []).append((product_kg, n_kg))
    worth = [one for one in fields if one["vary"]]
    return Summary(
        fields=len(fields),
        area_ha=round(sum(one["area_ha"] for one in fields), 2),
        failed=failed,
        orders=tuple(
            Order(
                farm,
                product,
                len(of_farm),
                round(sum(product_kg for product_kg, _ in of_farm), 2),
                round(sum(n_kg for _, n_kg in of_farm), 2),
            )
            for (farm, product), of_farm in sorted(groups.items())
        ),
        worth=tuple(sorted(worth, key=lambda one: (-one["n_put_right_kg"], one["field"]))),
        more_samples=tuple(
            sorted(
                (one for one in fields if one["more_samples"]),
                key=lambda one: (-one["area_ha"], one["field"]),
            )
        ),
        units="us" if fields and all(one["units"] == "us" for one in fields) else "metric",
    )


def orders_by_kind(summary: Summary) -> dict[str, float]:
    """Product of each kind to order for all farms together, kg."""
    kinds: dict[str, float] = {}
    for order in summary.orders:
        kinds[order.product] = kinds.get(order.product, 0.0) + order.product_kg
    return kinds


def headline(summary: Summary) -> str:
    """The answer for all fields, in a line."""
    need = "needs" if len(summary.more_samples) == 1 else "need"
    return (
        f"Vary the rate on {len(summary.worth):,} of {fields_text(summary.fields)}; "
        f"{len(summary.more_samples):,} {need} more samples to tell"
    )


def fields_text(number: int) -> str:
    """``1 field`` or ``1,200 fields``."""
    return f"{number:,} field{'' if number == 1 else 's'}"


def field_line(row: dict[str, Any], units: UnitSystem) -> tuple[str, ...]:
    """A field as tables show it: name, area, samples, product, nitrogen put right, verdict."""
    return (
        row["name"],
        area_text(row["area_ha"], units),
        str(row["samples"]),
        "; ".join(
            f"{mass_text(kg, units)} of {name}"
            for kg, name in zip(row["orders_kg"], row["product"].split("; "), strict=True)
        ),
        mass_text(max(row["n_put_right_kg"], 0.0), units),
        row["verdict"],
    )
