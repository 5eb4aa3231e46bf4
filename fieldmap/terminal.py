"""What a person sees in the terminal: a progress line, the five numbers, the zone table, the warnings."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from fieldmap import tables
from fieldmap.keys import plan_keys
from fieldmap.read.table import DATES, NUMBERS, POSITIONS, TEXTS
from fieldmap.summary import (
    SEASON_COLUMNS,
    application_title,
    by_number_text,
    driven_text,
    field_area_text,
    five_numbers,
    mass_to_order_text,
    season_rows,
    zone_cells,
    zone_columns,
)
from fieldmap.together import fields_text, orders_by_kind
from fieldmap.units import area_text, rate_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from fieldmap.batch import BatchResult, FieldOutcome
    from fieldmap.pipeline import Result
    from fieldmap.spread import ApplicationMap

FAILURES_SHOWN = 10


@contextlib.contextmanager
def progress() -> Iterator[Callable[[str], None]]:
    """One line on stderr that says what is being done; gone when it is done."""
    console = Console(stderr=True)
    with console.status("reading") as status:
        yield status.update


@contextlib.contextmanager
def batch_progress(fields: int) -> Iterator[Callable[[FieldOutcome], None]]:
    """A bar on stderr: fields done, without files, time left. Without a terminal it is printed once, at the end."""
    console = Console(stderr=True)
    bar = Progress(
        TextColumn("{task.completed:,.0f} of {task.total:,.0f} fields"),
        BarColumn(),
        TextColumn("{task.fields[without]} without files, left"),
        TimeRemainingColumn(elapsed_when_finished=True),
        console=console,
    )
    task = bar.add_task("", total=fields, without=0)
    without = 0

    def done(outcome: FieldOutcome) -> None:
        nonlocal without
        without += outcome.rows is None
        bar.update(task, advance=1, without=without)

    with bar:
        yield done


def show_batch(found: BatchResult, folder: Path) -> None:
    """Print what to order, where varying is worth it, what has no files and why, and where the rest is."""
    console, summary = Console(highlight=False), found.summary
    kept = sum(one.state == "kept" for one in found.outcomes)
    area = area_text(summary.area_ha, summary.units)
    console.print(
        f"\n[bold]{fields_text(summary.fields)}[/bold], {area}"
        + (f", {kept:,} of them from before" if kept else "")
    )
    numbers = Table.grid(padding=(0, 2))
    for kind, kg in orders_by_kind(summary).items():
        numbers.add_row("[bold]Order[/bold]", escape(f"{mass_to_order_text(kg, summary.units)} of {kind}"))
    numbers.add_row("[bold]Vary the rate[/bold]", f"worth it on {fields_text(len(summary.worth))}")
    numbers.add_row(
        "[bold]Sample more[/bold]", f"{fields_text(len(summary.more_samples))}, to be able to tell"
    )
    console.print(numbers)
    for one in found.without_files[:FAILURES_SHOWN]:
        for message in one.messages:
            console.print(f"No files for {escape(one.name)}: {escape(message)}", soft_wrap=True)
    more = len(found.without_files) - FAILURES_SHOWN
    if more > 0:
        console.print(f"Without files as well: {fields_text(more)}. problems.csv says why.")
    console.print(f"Written to {escape(str(folder))}: open index.html in a browser.")


def show(result: Result, folder: Path, *, page: bool = True) -> None:
    """Print the five numbers, the zone table, the warnings, and where the files are (`page`: the map among them)."""
    console = Console(highlight=False)
    console.print(f"\n[bold]{escape(result.plan.name)}[/bold], {field_area_text(result)}")
    numbers = Table.grid(padding=(0, 2))
    for line in five_numbers(result):
        numbers.add_row(f"[bold]{line.title}[/bold]", escape(line.text))
    console.print(numbers)
    for one in result.applications:
        _show_application(console, one, result.alone(one))
    console.print(f"The verdict: {escape(result.spread.verdict.change)}")
    for warning in result.warnings:
        console.print(f"Note: {escape(warning)}")
    opened = ": open map.html in a browser" if page else ""
    console.print(f"Written to {escape(str(folder))}{opened}. {escape(result.cautions[0])}")


def _show_application(console: Console, one: ApplicationMap, result: Result) -> None:
    """The zone table of an application, and how its machine fares."""
    several = len(one.plan.applications) > 1
    title = escape(application_title(one)) if several else None
    table = Table(
        box=None, padding=(0, 1), header_style="bold", title=title, caption="Credit with its 90 % interval"
    )
    for heading in zone_columns(result):
        table.add_column(heading, justify="left" if heading in ("Block", "Crop") else "right")
    for zone in result.spread.zone_map.rows:
        table.add_row(*(escape(cell) for cell in zone_cells(zone, result)))
    console.print(table)
    console.print(f"By number of zones: {escape(by_number_text(result))}.")
    if not one.through_drip:
        console.print(f"Driven on paper: {escape(driven_text(result))}.")


def show_season(result: Result) -> None:
    """Print each block's weeks: released, taken up, short, spare."""
    console, units = Console(highlight=False), result.plan.units
    console.print(
        f"\n[bold]{escape(result.plan.name)}[/bold], {rate_unit(units)} of nitrogen, mean of the block"
    )
    for season in result.budget.seasons:
        crop = result.plan.crop_of(season.block)
        table = Table(box=None, padding=(0, 1), header_style="bold", title=f"{season.block}: {crop.name}")
        for heading in SEASON_COLUMNS:
            table.add_column(heading, justify="left" if heading == "From" else "right")
        for row in season_rows(season, result):
            table.add_row(*row)
        console.print(table)
    console.print(escape(result.timing[:1].upper() + result.timing[1:]))


def say(text: str) -> None:
    """Print a sentence."""
    Console(highlight=False).print(escape(text))


def show_table(name: str) -> None:
    """Print one table of the agronomy with the mark of every figure."""
    console = Console(highlight=False)
    table = Table(box=None, padding=(0, 1), header_style="bold", title=name.replace("_", " "))
    headings, rows = _TABLES[name]()
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    console.print(table)
    if name == "products":
        for entry in tables.products():
            console.print(escape(" ".join(entry.cautions)))
    if name in NOTES:
        console.print(escape(f"{NOTES[name]} {MARKS}"))


_Rows = tuple[tuple[str, ...], list[tuple[str, ...]]]


_LETTERS = {"your value": "y", "published": "p", "common practice": "c", "from memory": "m"}
MARKS = (
    "Marks: p published, c common practice (no source), m from memory, a default to be replaced by your own. "
    "fieldmap tables sources lists the sources."
)
STAGES_TOLD = (
    f"Stages: {', '.join(tables.LEGUME_STAGES)}; of grasses {', '.join(tables.GRASS_STAGES)}. "
    "A laboratory value goes into [cover_crop] nitrogen and stands before the table's."
)
NOTES = {
    "cover_crops": STAGES_TOLD,
    "growth": f"{STAGES_TOLD} Growth of your own: samples of several dates.",
    "crops": (
        "The guide rate is not used: a plan gives its own need. Uptake is of the whole crop. Nitrate limit: "
        "nitrate-N of the top 30 cm above which nothing is side-dressed. Half taken up: at this share of the season. "
        "P2O5, K2O: in the harvest."
    ),
    "products": "An analysis of your own goes into [spreader] product.",
}


def _marks(keys: Iterable[str]) -> str:
    """The marks of some sources as letters, each once."""
    marks = {tables.sources()[key].mark for key in keys}
    return "".join(letter for mark, letter in _LETTERS.items() if mark in marks)


def _marked(text: str, entry: tables.CoverCropEntry | tables.CropEntry | tables.Product, figure: str) -> str:
    """A figure with its mark; nothing where the table has none."""
    return f"{text} {_marks([entry.source_of[figure]])}" if text else ""


def _span(values: tuple[float, float] | None) -> str:
    if values is None:
        return ""
    low, high = values
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _in_order(values: dict[str, float]) -> str:
    return " ".join(f"{value:g}" for value in values.values())


def _cover_crops() -> _Rows:
    headings = ("Name", "Kind", "%N by stage", "C:N", "Dry share", "Killed by winter", "Inoculant")
    return headings, [
        (
            entry.name,
            entry.kind,
            _marked(_in_order(entry.nitrogen_pct), entry, "nitrogen_pct"),
            _marked(
                ", ".join(f"{value:g} {stage}" for stage, value in entry.carbon_nitrogen.items()),
                entry,
                "carbon_nitrogen",
            ),
            _marked(_span(entry.dry_matter_fraction), entry, "dry_matter_fraction"),
            _marked(entry.winter_killed, entry, "winter_killed"),
            _marked((entry.inoculant or "").split(" (")[0], entry, "inoculant"),
        )
        for entry in tables.cover_crops()
    ]


def _crops() -> _Rows:
    headings = (
        "Name",
        "Guide rate, lb N/ac",
        "Uptake, lb N/ac",
        "Nitrate limit, mg/kg",
        "Half taken up",
        "P2O5, K2O out, lb/ac",
    )
    return headings, [
        (
            entry.name,
            "; ".join(
                f"{_span((rate.low, rate.high))} {rate.region} {_marks([rate.source])}"
                for rate in entry.guide_rates
            ),
            _marked(_span(entry.uptake_lb_ac), entry, "uptake_lb_ac"),
            _marked(_number(entry.sidedress_nitrate_mg_kg), entry, "sidedress_nitrate_mg_kg"),
            _marked(_number(entry.half_uptake_share), entry, "half_uptake_share"),
            ", ".join(
                _marked(_number(getattr(entry, figure)), entry, figure)
                for figure in ("removal_p2o5_lb_ac", "removal_k2o_lb_ac")
                if getattr(entry, figure) is not None
            ),
        )
        for entry in tables.crops()
    ]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _products() -> _Rows:
    headings = ("Name", "%N", "%P2O5", "%K2O", "In-season share", "kg/m³", "Organic rules")
    return headings, [
        (
            entry.name,
            *(
                _marked(_number(getattr(entry, figure)), entry, figure)
                for figure in ("nitrogen_pct", "p2o5_pct", "k2o_pct", "available", "bulk_density_kg_m3")
            ),
            _marked(entry.organic_rules, entry, "organic_rules"),
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


def _growth() -> _Rows:
    return ("Name", "Dry matter by stage, against the first", "Days a stage", "Mark"), [
        (
            one.name,
            _in_order(one.dry_matter),
            f"{one.stage_days:g}",
            _marks(one.source_of.values()),
        )
        for one in tables.growth()
    ]


def _plan_keys() -> _Rows:
    return ("Key of plan.toml", "Takes", "Needed"), list(plan_keys())


def _sample_columns() -> _Rows:
    return ("Column of samples.csv", "Holds"), [
        *((name, "position") for name in POSITIONS),
        *((name, "text") for name in TEXTS),
        *((name, "a date") for name in DATES),
        *NUMBERS.items(),
    ]


_TABLES = {
    "keys": _plan_keys,
    "columns": _sample_columns,
    "growth": _growth,
    "season": _season,
    "cover_crops": _cover_crops,
    "crops": _crops,
    "products": _products,
    "sources": _sources,
}
