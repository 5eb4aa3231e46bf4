"""map.html: the map, the five numbers and the zone table in one file that opens without a network."""

from __future__ import annotations

import base64
import functools
import hashlib
import re
from importlib.resources import files
from typing import TYPE_CHECKING, cast

import jinja2

from fieldmap.maps import TILES, build_map
from fieldmap.overlays import map_views, zone_colours
from fieldmap.summary import application_title, field_area_text, five_numbers, zone_cells, zone_columns

if TYPE_CHECKING:
    from pathlib import Path

    from branca.element import Figure

    from fieldmap.overlays import Pixels
    from fieldmap.pipeline import Result
    from fieldmap.spread import ApplicationMap

_ASSETS = files("fieldmap") / "assets"


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
    scripts = [_leaflet_js(), figure.script.render(), _asset("map.js")]
    if framed:
        scripts.append(_asset("map_framed.js"))
    return _template().render(
        framed=framed,
        name=result.plan.name,
        area=field_area_text(result),
        views=views,
        numbers=five_numbers(result),
        columns=zone_columns(result),
        tables=[_zone_table(one, result.alone(one)) for one in result.applications],
        no_spread=not result.field.no_spread.is_empty,
        loads=bool(result.spread.loads),
        warnings=result.warnings,
        cautions=result.cautions,
        plan_hash=result.plan_hash,
        map=figure.html.render(),
        scripts=scripts,
        hashes=[_hash(script) for script in scripts],
        tile_host=TILES.split("/{z}")[0],
        licence=_asset("leaflet/LICENSE"),
        styles=_leaflet_css() + _asset("map.css"),
    )


def _zone_table(one: ApplicationMap, result: Result) -> tuple[str, list[tuple[str, tuple[str, ...]]]]:
    """Heading and rows, each a colour and its cells, of an application's zone table."""
    colours = zone_colours(result)
    heading = application_title(one) if len(result.plan.application) > 1 else "Zones"
    return heading, [(colours[zone.zone], zone_cells(zone, result)) for zone in result.spread.zone_map.zones]


def _asset(name: str) -> str:
    return (_ASSETS / name).read_text(encoding="utf-8")


@functools.cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_asset("map.html"))


@functools.cache
def _leaflet_js() -> str:
    """Leaflet, without the address it would link to: the page refers to nothing on a network."""
    return _asset("leaflet/leaflet.js").replace("https://leafletjs.com", "leafletjs.com")


@functools.cache
def _leaflet_css() -> str:
    """Leaflet's style sheet without comments, its pictures inside it."""
    plain = re.sub(r"/\*.*?\*/", "", _asset("leaflet/leaflet.css"), flags=re.DOTALL)

    def inside(match: re.Match[str]) -> str:
        picture = base64.b64encode((_ASSETS / "leaflet" / match[1]).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{picture})"

    return re.sub(r"url\((images/[\w-]+\.png)\)", inside, plain)


def _hash(script: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
