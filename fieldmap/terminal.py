"""What a person sees in the terminal: a progress line, the five numbers, the zone table, the warnings."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from fieldmap import tables
from fieldmap.summary import five_numbers, zone_cells, zone_columns
from fieldmap.units import area_text, rate_unit, shown_rate, whole

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fieldmap.pipeline import Result


@contextlib.contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """One line on stderr that says what is being done; gone when it is done."""
    console = Console(stderr=True)
    with console.status("reading") as status:
        yield status.update


def show(result: Result, folder: Path) -> None:
    """Print the five numbers, the zone table, the warnings, and where the files are."""
    console = Console(highlight=False)
    area = area_text(result.field.area_ha, result.plan.units)
    console.print(f"\n[bold]{escape(result.plan.name)}[/bold], {area}")
    numbers = Table.grid(padding=(0, 2))
    for line in five_numbers(result):
        numbers.add_row(f"[bold]{line.title}[/bold]", escape(line.text))
    console.print(numbers)
    table = Table(box=None, padding=(0, 1), header_style="bold", caption="Credit with its 90 % interval")
    for heading in zone_columns(result):
        table.add_column(heading, justify="left" if heading in ("Block", "Crop") else "right")
    for zone in result.zone_map.zones:
        table.add_row(*(escape(cell) for cell in zone_cells(zone, result)))
    console.print(table)
    for warning in result.warnings:
        console.print(f"Note: {escape(warning)}")
    console.print(
        f"Written to {escape(str(folder))}: open map.html in a browser. {escape(result.cautions[0])}"
    )


def show_season(result: Result) -> None:
    """Print each block's weeks: released, taken up, short, spare."""
    console, units = Console(highlight=False), result.plan.units
    console.print(
        f"\n[bold]{escape(result.plan.name)}[/bold], {rate_unit(units)} of nitrogen, mean of the block"
    )
    for season in result.seasons:
        crop = result.plan.crop_of(season.block)
        table = Table(box=None, padding=(0, 1), header_style="bold", title=f"{season.block}: {crop.name}")
        for heading in ("Week", "From", "Released", "Taken up", "Short", "Spare"):
            table.add_column(heading, justify="left" if heading == "From" else "right")
        weeks = season.weeks
        for k, week in enumerate(weeks.week):
            values = (weeks.released_kg_ha, weeks.uptake_kg_ha, weeks.short_kg_ha, weeks.spare_kg_ha)
            table.add_row(
                str(week), str(weeks.date[k]), *(whole(shown_rate(float(v[k]), units)) for v in values)
            )
        console.print(table)
    console.print(escape(result.timing[:1].upper() + result.timing[1:]))


def say(text: str) -> None:
    """Print a sentence."""
    Console(highlight=False).print(escape(text))


def show_table(name: str) -> None:
    """Print one table of the agronomy with the source and mark of every row."""
    console = Console(highlight=False)
    table = Table(box=None, padding=(0, 1), header_style="bold", title=name.replace("_", " "))
    headings, rows = _TABLES[name]()
    for heading in headings:
        table.add_column(heading)
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    console.print(table)


_Rows = tuple[tuple[str, ...], list[tuple[str, ...]]]


def _cover_crops() -> _Rows:
    return ("Name", "Kind", "%N by stage", "Mark"), [
        (
            entry.name,
            entry.kind,
            ", ".join(f"{stage} {value:g}" for stage, value in entry.nitrogen_pct.items()),
            tables.sources()[entry.source].mark,
        )
        for entry in tables.cover_crops()
    ]


def _crops() -> _Rows:
    return ("Name", "Need, lb N/ac", "Marks", "Sources"), [
        (
            entry.name,
            f"{entry.need_lb_ac[0]:g} to {entry.need_lb_ac[1]:g}",
            ", ".join(dict.fromkeys(tables.sources()[key].mark for key in entry.sources)),
            " ".join(tables.sources()[key].citation for key in entry.sources),
        )
        for entry in tables.crops()
    ]


def _products() -> _Rows:
    return ("Name", "%N", "%P2O5", "%K2O", "Available", "kg/m³", "Marks"), [
        (
            entry.name,
            f"{entry.nitrogen_pct:g}",
            f"{entry.p2o5_pct:g}",
            f"{entry.k2o_pct:g}",
            f"{entry.available:g}",
            f"{entry.bulk_density_kg_m3:g}" if entry.bulk_density_kg_m3 else "",
            ", ".join(dict.fromkeys(tables.sources()[key].mark for key in entry.sources)),
        )
        for entry in tables.products()
    ]


def _sources() -> _Rows:
    return ("Key", "Mark", "Citation"), [
        (source.key, source.mark, source.citation) for source in tables.sources().values()
    ]


def _season() -> _Rows:
    return ("Model", "Figure", "Value", "Unit", "Meaning", "Mark"), [
        (
            model,
            figure.name,
            f"{figure.value:g}",
            figure.unit,
            figure.meaning,
            tables.sources()[figure.source].mark,
        )
        for model, figures in tables.season().items()
        for figure in figures
    ]


_TABLES = {
    "season": _season,
    "cover_crops": _cover_crops,
    "crops": _crops,
    "products": _products,
    "sources": _sources,
}
