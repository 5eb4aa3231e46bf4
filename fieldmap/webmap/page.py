"""map.html: the map, the main numbers, what to do and the zone table in one file that opens without a network."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from fieldmap.report import palette, summary
from fieldmap.webmap.assets import asset, leaflet_css, leaflet_js, script_hash, template
from fieldmap.webmap.background import TILES
from fieldmap.webmap.layers import build_map
from fieldmap.webmap.views import map_views

if TYPE_CHECKING:
    from pathlib import Path

    from branca.element import Figure

    from fieldmap.pipeline import Result
    from fieldmap.units import UnitSystem
    from fieldmap.verdict import ApplicationMap
    from fieldmap.webmap.pixels import Pixels


def write_map(result: Result, path: Path) -> None:
    """Write map.html; the same run gives the same bytes on every system."""
    path.write_text(map_page(result), encoding="utf-8", newline="\n")


def map_page(result: Result, *, framed: bool = False, pixels: Pixels | None = None) -> str:
    """The page, as HTML.

    `framed` leaves out the numbers, the table and the notes, for a page that shows them itself; such a map
    comes back at the place and view where it was when it is drawn anew. `pixels` as in `map_views`.

    Its Content-Security-Policy names each script by its hash, so that nothing else runs, whatever text the
    plan and its files hold.
    """
    views = map_views(result, pixels)
    figure = cast("Figure", build_map(result, views).get_root())
    figure.render()
    scripts = [leaflet_js(), figure.script.render(), asset("map.js")]
    if framed:
        scripts.append(asset("map_framed.js"))
    return template("map.html").render(
        framed=framed,
        name=result.plan.name,
        area=summary.field_area_text(result),
        views=views,
        numbers=summary.main_numbers(result),
        actions=result.action_texts,
        tables=[_zone_table(one, result.plan.units) for one in result.applications],
        reckoned=summary.reckoned_text(result),
        strips=any(one.spread.zone_map.strips for one in result.applications),
        no_spread=not result.field.no_spread.is_empty,
        loads=bool(result.spread.loads),
        warnings=result.warnings,
        cautions=result.cautions,
        plan_hash=result.plan_hash,
        map=figure.html.render(),
        scripts=scripts,
        hashes=[script_hash(script) for script in scripts],
        tile_host=TILES.split("/{z}")[0],
        licence=asset("leaflet/LICENSE"),
        styles=leaflet_css() + asset("map.css"),
    )


def _zone_table(
    one: ApplicationMap, units: UnitSystem
) -> tuple[str, tuple[str, ...], list[tuple[str, tuple[str, ...]]]]:
    """Heading, columns and rows, each a colour and its cells, of an application's zone table; strips have none."""
    colours, zones = palette.zone_colours(one), one.spread.zone_map.rows
    heading = summary.application_title(one) if one.application.of > 1 else "Zones"
    rows = [("" if zone.strip else colours[zone.zone], summary.zone_cells(zone, units)) for zone in zones]
    return heading, summary.zone_columns(units, zones), rows
