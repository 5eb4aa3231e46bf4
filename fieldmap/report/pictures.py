"""The maps and charts of the report, drawn with matplotlib; legible in black and white.

Every picture is a `Figure`; nothing here writes a file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib.patheffects as effects
import numpy as np
import shapely
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.ticker import MaxNLocator

from fieldmap.geostatistics import empirical_variogram, model_variograms
from fieldmap.report.palette import INK, PAPER, STRIP_INK, classes, zone_colours
from fieldmap.units import M_PER_FOOT, rate_unit, shown_rate, whole

if TYPE_CHECKING:
    from typing import Any

    from matplotlib.axes import Axes
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from fieldmap.budget import BlockSeason
    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


FONT = {"family": "DejaVu Sans", "color": INK}
HALO = [effects.withStroke(linewidth=2.6, foreground="white")]


def rate_picture(result: Result, one: ApplicationMap, *, width_in: float, height_in: float) -> Figure:
    """Zones and check strips with number and nitrogen rate written on them; strips are white, as on the map."""
    figure, axes = _map(result, width_in, height_in)
    colours, units = zone_colours(one), result.plan.units
    for zone in one.spread.zone_map.rows:
        colour, edge, name = (
            (PAPER, STRIP_INK, f"strip {zone.zone}")
            if zone.strip
            else (colours[zone.zone], PAPER, f"zone {zone.zone}")
        )
        for part in zone.parts:
            axes.add_patch(
                _patch(part.geometry, facecolor=colour, edgecolor=edge, linewidth=1.6 if zone.strip else 0.8)
            )
            east, north = shapely.maximum_inscribed_circle(part.geometry).coords[0]
            rate = whole(shown_rate(zone.rate_n_kg_ha, units))
            axes.annotate(
                f"{rate}\n{name}", (east, north), ha="center", va="center", fontsize=8, fontweight="bold",
                color=INK, path_effects=HALO, linespacing=1.0,
            )  # fmt: skip
    _outlines(axes, result)
    return figure


def surface_picture(
    result: Result,
    raster_kg_ha: NDArray[np.float64],
    *,
    label: str,
    colormap: str,
    width_in: float,
    height_in: float,
) -> Figure:
    """One raster in the classes and colours it has on the map, with the samples sized by dry weight."""
    figure, axes = _map(result, width_in, height_in)
    grid, units = result.field.grid, result.plan.units
    west, north = grid.west_m, grid.north_m
    extent = (west, west + grid.columns * grid.cell_m, north - grid.rows * grid.cell_m, north)
    borders, colours = classes(raster_kg_ha, colormap, units)
    image = axes.imshow(
        raster_kg_ha * shown_rate(1.0, units),
        extent=extent,
        cmap=ListedColormap(colours),
        norm=BoundaryNorm(borders, len(colours)),
        interpolation="nearest",
    )
    dry = result.stand.samples.dry_kg_ha
    eastings, northings = result.stand.samples.coords_m.T
    axes.scatter(
        eastings, northings, s=6 + 34 * dry / max(dry.max(), 1.0), facecolors="white", edgecolors=INK,
        linewidths=0.7, alpha=0.85,
    )  # fmt: skip
    _outlines(axes, result)
    bar = figure.colorbar(image, ax=axes, shrink=0.75, pad=0.02, ticks=borders)
    bar.set_label(f"{label}, {rate_unit(units)}", fontdict={**FONT, "size": 8})
    bar.ax.tick_params(labelsize=7)
    return figure


def leave_one_out_picture(result: Result, *, width_in: float, height_in: float) -> Figure:
    """Each sample against its prediction from all the others."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    axes = figure.add_subplot()
    fit, units = result.stand.biomass.fit, result.plan.units
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    observed, predicted, se = (
        np.array([shown_rate(value, units) for value in values])
        for values in (fit.loo_observed, fit.loo_predicted, fit.loo_se)
    )
    ends = (0.0, 1.05 * float(max(observed.max(), predicted.max(), 1.0)))
    axes.plot(ends, ends, color=INK, linewidth=0.7)
    axes.errorbar(
        predicted, observed, xerr=1.645 * se, fmt="o", ms=3.5, mfc="white", mec=INK, ecolor="#9aa4ad", lw=0.7
    )
    axes.set(xlim=ends, ylim=ends, aspect="equal")
    unit = rate_unit(units)
    axes.set_xlabel(f"predicted from the other samples, {unit} (90 % interval)", fontdict={**FONT, "size": 8})
    axes.set_ylabel(f"weighed, {unit}", fontdict={**FONT, "size": 8})
    _quiet(axes)
    return figure


def variogram_picture(result: Result, *, width_in: float, height_in: float) -> Figure:
    """The samples' variogram, with the models that the surface averages over; stronger lines weigh more."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    axes = figure.add_subplot()
    fit, units = result.stand.biomass.fit, result.plan.units
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    unit = shown_rate(1.0, units)
    found = empirical_variogram(result.stand.samples.coords_m, result.stand.samples.dry_kg_ha)
    distance_m = np.linspace(1.0, float(found.distance_m.max()) * 1.05, 80)
    weights, models = model_variograms(fit, distance_m)
    length_m = M_PER_FOOT if units == "us" else 1.0
    for weight, model in zip(weights, models, strict=True):
        axes.plot(
            distance_m / length_m,
            model * unit**2,
            color=INK,
            linewidth=0.8,
            alpha=float(np.clip(4 * weight, 0.05, 0.6)),
        )
    axes.scatter(
        found.distance_m / length_m,
        found.semivariance * unit**2,
        s=4 + found.pairs,
        facecolors="white",
        edgecolors=INK,
    )
    axes.set_xlabel(f"distance, {'ft' if units == 'us' else 'm'}", fontdict={**FONT, "size": 8})
    axes.set_ylabel(f"semivariance, ({rate_unit(units)})²", fontdict={**FONT, "size": 8})
    axes.set_ylim(bottom=0.0)
    _quiet(axes)
    return figure


def residual_picture(result: Result, *, width_in: float, height_in: float) -> Figure:
    """Where left-out samples were heavier (dark) or lighter (open) than predicted, and where to sample next."""
    figure, axes = _map(result, width_in, height_in)
    fit = result.stand.biomass.fit
    assert fit is not None  # noqa: S101 - biomass is always mapped from a fit
    residual = fit.loo_observed - fit.loo_predicted
    eastings, northings = result.stand.samples.coords_m.T
    size = 8 + 90 * np.abs(residual) / max(float(np.abs(residual).max()), 1.0)
    shades = np.where(residual > 0, INK, "white")
    axes.scatter(eastings, northings, s=size, c=shades, edgecolors=INK, linewidths=0.7)
    east, north = result.stand.next_samples_m.T
    axes.scatter(east, north, marker="+", s=70, c=INK, linewidths=1.6)
    _outlines(axes, result)
    return figure


def loss_picture(result: Result, *, width_in: float, height_in: float) -> Figure:
    """What is lost by having fewer zones: root mean squared nitrogen error against the number of zones."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    axes = figure.add_subplot()
    fraction, units = result.applications[0].application.product.nitrogen_fraction, result.plan.units
    numbers = np.arange(1, len(result.spread.level_sets) + 1)
    errors = [shown_rate(one.loss**0.5 * fraction, units) for one in result.spread.level_sets]
    axes.bar(numbers, errors, color="#7c7b78", width=0.6)
    for number, error in zip(numbers, errors, strict=True):
        axes.annotate(whole(error), (number, error), ha="center", va="bottom", fontsize=7, color=INK)
    axes.set_xlabel("number of zones", fontdict={**FONT, "size": 8})
    axes.set_ylabel(f"rms error, {rate_unit(units)} N", fontdict={**FONT, "size": 8})
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    _quiet(axes)
    return figure


def season_picture(result: Result, season: BlockSeason, *, width_in: float, height_in: float) -> Figure:
    """What lies spare in the soil at each week's end, a stock; below it what is short in each week, a flow."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    soil, week = figure.subplots(2, 1, sharex=True)
    weeks, units = season.weeks, result.plan.units
    grown = weeks.week >= 1
    dates = weeks.date[grown].astype("datetime64[D]").astype(object)
    spare, short = (
        np.array([shown_rate(value, units) for value in values[grown]])
        for values in (weeks.spare_kg_ha, weeks.short_kg_ha)
    )
    ends = weeks.date[grown].astype("datetime64[D]") + np.timedelta64(6, "D")
    soil.fill_between(ends.astype(object), spare, color="#c9ced2", linewidth=0)
    soil.plot(ends.astype(object), spare, color=INK, linewidth=1.2)
    week.bar(dates, short, width=5.5, align="edge", color=INK)
    crop = result.plan.crop_of(season.block).name
    figure.suptitle(f"{season.block}: {crop}", fontsize=8, x=0.02, ha="left", color=INK)
    for axes, values, said in ((soil, spare, "spare in the soil"), (week, short, "short in each week")):
        axes.set_title(said, fontsize=7, loc="left", color=INK, pad=2)
        axes.set_ylim(0.0, 1.15 * max(float(values.max()), 1.0))
        axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))
        _quiet(axes)
    figure.supylabel(f"{rate_unit(units)} N", fontsize=7, color=INK)
    ticks = sorted({date.replace(day=1) for date in dates})[1:] or [dates[0]]
    week.set_xticks(ticks, [f"{tick.day} {tick:%b}" for tick in ticks])
    return figure


def stage_picture(result: Result, *, width_in: float, height_in: float) -> Figure:
    """What the stand holds and what becomes available at each stage; one panel a cover crop, at most two."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    units, courses = result.plan.units, result.budget.stages[:2]
    for axes, course in zip(figure.subplots(1, len(courses), squeeze=False)[0], courses, strict=True):
        at = range(len(course.stages))
        for name, said, style in (
            ("total_kg_ha", "in the stand", {"color": "#7c7b78", "linewidth": 1.2}),
            ("available_kg_ha", "available", {"color": INK, "linewidth": 2.0}),
            ("same_biomass_kg_ha", "without growth", {"color": INK, "linewidth": 1.0, "linestyle": ":"}),
        ):
            values = [shown_rate(getattr(stage, name), units) for stage in course.stages]
            axes.plot(at, values, label=said, **style)
        now = course.stages[course.now]
        axes.plot(course.now, shown_rate(now.available_kg_ha, units), "o", color=INK, markersize=5)
        axes.annotate(
            "as sampled", (course.now, shown_rate(now.available_kg_ha, units)), (0, -11),
            textcoords="offset points", ha="center", fontsize=7, color=INK,
        )  # fmt: skip
        axes.set_xticks(at, [stage.stage.replace(" ", "\n") for stage in course.stages])
        axes.set_title(" and ".join(course.cover.species), fontsize=8, loc="left", color=INK)
        axes.margins(y=0.15)
        _quiet(axes)
    figure.axes[0].set_ylabel(f"{rate_unit(units)} N", fontdict={**FONT, "size": 8})
    lines = figure.axes[0].get_legend_handles_labels()
    figure.legend(*lines, loc="outside right upper", fontsize=7, frameon=False)
    return figure


def _map(result: Result, width_in: float, height_in: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    axes = figure.add_subplot()
    west, south, east, north = result.field.outline.bounds
    margin = 0.03 * max(east - west, north - south)
    axes.set(xlim=(west - margin, east + margin), ylim=(south - 2.5 * margin, north + margin), aspect="equal")
    axes.set_axis_off()
    _scale_bar(axes, result, (west, south - 1.6 * margin), east - west)
    axes.annotate(
        "N", (0.985, 0.99), (0.985, 0.86), xycoords="axes fraction", ha="center", fontsize=8, color=INK,
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.0},
    )  # fmt: skip
    return figure, axes


def _scale_bar(axes: Axes, result: Result, at: tuple[float, float], width_m: float) -> None:
    """A round length of about a quarter of the field, in the user's unit."""
    unit_m, unit = (M_PER_FOOT, "ft") if result.plan.units == "us" else (1.0, "m")
    wanted = width_m / 4 / unit_m
    step = 10 ** np.floor(np.log10(wanted))
    length = step * max(factor for factor in (1, 2, 5) if factor * step <= wanted)
    west, south = at
    axes.plot([west, west + length * unit_m], [south, south], color=INK, linewidth=2, solid_capstyle="butt")
    axes.annotate(
        f"{length:,.0f} {unit}", (west, south), (0, 3), textcoords="offset points", fontsize=7, color=INK
    )


def _outlines(axes: Axes, result: Result) -> None:
    """Block outlines dark and thin, no-spread areas hatched."""
    for block in result.field.blocks:
        axes.add_patch(_patch(block.geometry, facecolor="none", edgecolor=INK, linewidth=0.9))
    kept_out = result.field.no_spread.intersection(result.field.outline)
    if not kept_out.is_empty:
        axes.add_patch(_patch(kept_out, facecolor="white", edgecolor=INK, linewidth=0.5, hatch="////"))


def _patch(shape: BaseGeometry, **style: Any) -> PathPatch:
    rings = [
        ring
        for polygon in shapely.get_parts(shape)
        if polygon.geom_type == "Polygon"
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    outlines = [Outline(np.asarray(ring.coords), closed=True) for ring in rings]
    return PathPatch(Outline.make_compound_path(*outlines), **style)


def _quiet(axes: Axes) -> None:
    axes.tick_params(labelsize=7, colors=INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
