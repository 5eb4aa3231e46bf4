"""The Python interface: a run with its tables and rasters at hand, for a notebook and for others' programs."""

from __future__ import annotations

import base64
import contextlib
import html
import io
import tempfile
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyogrio

from fieldmap import pipeline
from fieldmap.errors import InputError, Problem
from fieldmap.export import bands_of, part_rows, sample_rows, write_folder
from fieldmap.read import read_plan
from fieldmap.report import pictures
from fieldmap.report import summary as words
from fieldmap.units import area_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    import xarray as xr

    from fieldmap.plan import Plan
    from fieldmap.stand import Stand
    from fieldmap.units import UnitSystem

MAP_IN = (6.0, 3.6)
REPR_WIDTH = 100


class Result(pipeline.Result):
    """A run, with its zones, samples, passes and surfaces as the libraries of geospatial Python hold them."""

    @property
    def zones(self) -> gpd.GeoDataFrame:
        """Every polygon of every zone and check strip, in the field's CRS, with the columns of zones.csv.

        Of several applications all are there, told apart by the column ``application``.
        """
        rows = [
            {"application": one.application.number, **row, "geometry": part.geometry}
            for one in self.applications
            for row, part in zip(part_rows(one, self.plan.units), one.spread.parts, strict=True)
        ]
        return gpd.GeoDataFrame(rows, geometry="geometry", crs=self.field.crs)

    @property
    def samples(self) -> gpd.GeoDataFrame:
        """One point a sample in the field's CRS: block, dry biomass (kg/ha) and %N."""
        points = gpd.points_from_xy(*self.stand.samples.coords_m.T)
        return gpd.GeoDataFrame(sample_rows(self), geometry=points, crs=self.field.crs)

    @property
    def passes(self) -> gpd.GeoDataFrame:
        """The passes of every application as lines in the field's CRS, in the order in which they are driven."""
        rows = [
            {
                "application": one.application.number,
                "pass": number,
                "headland": each.headland,
                "geometry": each.line,
            }
            for one in self.applications
            for number, each in enumerate(one.spread.passes, start=1)
        ]
        columns = ["application", "pass", "headland", "geometry"]
        return gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=self.field.crs)

    @property
    def surfaces(self) -> xr.Dataset:
        """Every raster of the run on the field's grid, the bands of surface.tif: (y, x), row 0 north, NaN outside.

        Units stand in the attributes, the CRS as rioxarray has it (coordinate ``spatial_ref``).

        Raises
        ------
        ImportError
            Where xarray and rioxarray, the extra ``notebook``, are not installed.
        """
        try:
            import rioxarray  # noqa: F401 - registers .rio
            import xarray as xr
        except ImportError as error:
            raise ImportError(
                "surfaces needs xarray and rioxarray, which are not installed: they come with the extra notebook"
            ) from error
        grid = self.field.grid
        bands = {
            name: (("y", "x"), band.raster, {"units": band.unit, "long_name": band.title})
            for name, band in bands_of(self, self.applications[0]).items()
        }
        found = xr.Dataset(bands, coords={"y": grid.northings(), "x": grid.eastings()})
        placed: xr.Dataset = found.rio.write_crs(self.field.crs.to_wkt()).rio.write_transform(grid.transform)
        return placed

    def summary(self, units: UnitSystem | None = None) -> str:
        """The main numbers and what to do in words, a line each; `units` "metric" or "us", the plan's by default.

        Raises
        ------
        InputError
            For other units.
        """
        if units not in (None, "metric", "us"):
            raise InputError(
                _wrong("units", f"found {units!r}", "metric or us is expected", "Name one of them")
            )
        shown = self._in(units)
        numbers = [f"{line.title}: {line.text}" for line in words.main_numbers(shown)]
        return "\n".join((*numbers, *(one.line for one in shown.action_texts)))

    def write(self, folder: str | Path, *, overwrite: bool = False, data_only: bool = False) -> Path:
        """Write the files of the run into a folder, all or nothing; `data_only` leaves the pages for people out.

        Raises
        ------
        OutputExistsError
            Where the folder exists, unless `overwrite` is set and an earlier run wrote it.
        """
        write_folder(self, Path(folder), overwrite=overwrite, data_only=data_only)
        return Path(folder)

    def _in(self, units: UnitSystem | None) -> Result:
        if units is None:
            return self
        return replace(self, plan=self.plan.model_copy(update={"units": units}))

    def __repr__(self) -> str:
        """A screen at most: the field, and the main numbers and what to do, cut to its width."""
        head = f"<fieldmap run of {self.plan.name!r}: {area_text(self.field.area_ha, self.plan.units)}>"
        lines = (
            line if len(line) <= REPR_WIDTH else f"{line[: REPR_WIDTH - 1]}…"
            for line in self.summary().split("\n")
        )
        return "\n".join((head, *lines))

    def _repr_html_(self) -> str:
        """The rate map and the zone table of each application."""
        units, parts = self.plan.units, [f"<h3>{html.escape(self.plan.name)}</h3>"]
        for one in self.applications:
            if one.application.of > 1:
                parts.append(f"<h4>{html.escape(words.application_title(one))}</h4>")
            drawn = io.BytesIO()
            figure = pictures.rate_picture(self, one, width_in=MAP_IN[0], height_in=MAP_IN[1])
            figure.savefig(drawn, format="png", dpi=100)
            image = base64.b64encode(drawn.getvalue()).decode()
            parts.append(f'<img alt="Nitrogen rate of each zone" src="data:image/png;base64,{image}">')
            zones = one.spread.zone_map.rows
            head = "".join(f"<th>{html.escape(name)}</th>" for name in words.zone_columns(units, zones))
            rows = (words.zone_cells(zone, units) for zone in zones)
            body = "".join(
                "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows
            )
            parts.append(f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")
        return "".join(parts)


def run(
    plan: Plan | str | Path,
    *,
    boundary: gpd.GeoDataFrame | None = None,
    samples: pd.DataFrame | gpd.GeoDataFrame | None = None,
    no_spread: gpd.GeoDataFrame | None = None,
    weather: pd.DataFrame | None = None,
    stand: Stand | None = None,
) -> Result:
    """Compute a plan, from its files or with tables of your own in their place.

    Parameters
    ----------
    plan
        From `fieldmap.read_plan`, or the plan folder.
    boundary, no_spread
        Polygons (points and lines too for `no_spread`) with the columns of those files, in any CRS.
    samples
        The columns of samples.csv, or points with the same columns.
    weather
        Daily: date, tmin_c, tmax_c, rain_mm; the plan needs a [weather] section.
    stand
        The `stand` of an earlier result: it is not surveyed anew where field, samples, cover crops and the reach of
        the machine are the same.

    Raises
    ------
    InputError
        With every problem of the input, worded as for files: tables go through the same checks.
    """
    given = {"boundary": boundary, "samples": samples, "no_spread": no_spread, "weather": weather}
    if isinstance(stand, pipeline.Result):
        raise InputError(
            _wrong("stand", "it is a whole result", "the stand of one is expected", "Give its .stand")
        )
    read = read_plan(Path(plan)) if isinstance(plan, str | Path) else plan
    with _with_tables(read, {role: table for role, table in given.items() if table is not None}) as whole:
        found = pipeline.run(whole, stand=stand)
    # The files of tables are gone, the plan is the one that was given.
    return _with_interface(replace(found, plan=read) if whole is not read else found)


def check(plan: Plan | str | Path) -> tuple[str, ...]:
    """Run a plan, or a plan folder, without writing anything; returns what a run would warn of.

    Raises
    ------
    InputError
        With every problem that a run would stop at.
    """
    found = pipeline.check(Path(plan)) if isinstance(plan, str | Path) else pipeline.run(plan)
    return found.warnings


def _with_interface(found: pipeline.Result) -> Result:
    return Result(**{field.name: getattr(found, field.name) for field in fields(found)})


@contextlib.contextmanager
def _with_tables(plan: Plan, tables: dict[str, pd.DataFrame]) -> Iterator[Plan]:
    """The plan in a folder of its own, in which tables stand as files beside those that are not replaced."""
    if not tables:
        yield plan
        return
    with tempfile.TemporaryDirectory(prefix="fieldmap-") as beside:
        folder = Path(beside)
        names = {role: _write_table(table, role, folder) for role, table in tables.items()}
        update = {
            "folder": folder,
            "field": plan.field.model_copy(
                update={role: names[role] for role in ("boundary", "no_spread") if role in names}
            ),
        }
        if "samples" in names:
            update["samples"] = plan.samples.model_copy(update={"file": names["samples"]})
        if "weather" in names:
            if plan.weather is None:
                raise InputError(
                    _wrong("weather", "the plan has no [weather]", "one is expected", "Add it to the plan")
                )
            update["weather"] = plan.weather.model_copy(update={"file": names["weather"]})
        whole = plan.model_copy(update=update)
        for name in whole.file_names():
            if not (folder / name).exists():
                (folder / name).symlink_to((plan.folder / name).resolve())
        yield whole


def _write_table(table: pd.DataFrame, role: str, folder: Path) -> str:
    """A table as the file that its reader would find; returns its name."""
    if not isinstance(table, pd.DataFrame):
        found = f"{role} is a {type(table).__name__}"
        action = "Read it first; a file is named in the plan"
        raise InputError(_wrong(role, found, "a DataFrame or GeoDataFrame is expected", action))
    if not isinstance(table, gpd.GeoDataFrame):
        if role in ("boundary", "no_spread"):
            found = f"{role} is a {type(table).__name__}"
            raise InputError(
                _wrong(role, found, "a GeoDataFrame is expected", "Give its shapes a geometry and a CRS")
            )
        table.to_csv(folder / f"{role}.csv", index=False)
        return f"{role}.csv"
    if table.crs is None:
        raise InputError(
            _wrong(
                role, f"the GeoDataFrame {role} has no CRS", "one is expected", f"Set it: {role}.set_crs(…)"
            )
        )
    # The same table is the same file: without the time of writing, by which it would be another's stand.
    undated = {"OGR_CURRENT_DATE": "1980-01-01T00:00:00.000Z"}
    pyogrio.set_gdal_config_options(undated)
    try:
        table.reset_index(drop=True).to_file(folder / f"{role}.gpkg", layer=role, driver="GPKG", index=False)
    finally:
        pyogrio.set_gdal_config_options(dict.fromkeys(undated))
    return f"{role}.gpkg"


def _wrong(role: str, found: str, expected: str, action: str) -> Problem:
    return Problem(role, found, expected, action)
