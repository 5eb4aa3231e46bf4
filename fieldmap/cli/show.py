"""What a person sees in the terminal: a progress line, the main numbers, what to do, the zones, the warnings."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from fieldmap import agronomy
from fieldmap.advice import change_text
from fieldmap.cli.tables import MARKS, NOTES, TABLE_ROWS
from fieldmap.report import summary
from fieldmap.units import area_text, rate_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fieldmap.batch import BatchResult, FieldOutcome
    from fieldmap.pipeline import Result
    from fieldmap.verdict import ApplicationMap


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
    """Print what to order, where to vary the rate, what has no files and why, and where the rest is."""
    from fieldmap.batch import fields_text, orders_by_kind  # needs Dask, which a run of one plan does not

    console, farm = Console(highlight=False), found.summary
    kept = sum(one.state == "kept" for one in found.outcomes)
    area = area_text(farm.area_ha, farm.units)
    console.print(
        f"\n[bold]{fields_text(farm.fields)}[/bold], {area}"
        + (f", {kept:,} of them from before" if kept else "")
    )
    numbers = Table.grid(padding=(0, 2))
    for kind, kg in orders_by_kind(farm).items():
        numbers.add_row(
            "[bold]Order[/bold]", escape(f"{summary.mass_to_order_text(kg, farm.units)} of {kind}")
        )
    numbers.add_row("[bold]Vary the rate[/bold]", f"on {fields_text(len(farm.worth))}")
    numbers.add_row("[bold]Sample more[/bold]", f"{fields_text(len(farm.more_samples))}, to be able to tell")
    console.print(numbers)
    for one in found.without_files[:FAILURES_SHOWN]:
        for message in one.messages:
            console.print(f"No files for {escape(one.name)}: {escape(message)}", soft_wrap=True)
    more = len(found.without_files) - FAILURES_SHOWN
    if more > 0:
        console.print(f"Without files as well: {fields_text(more)}. problems.csv says why.")
    console.print(f"Written to {escape(str(folder))}: open index.html in a browser.")


def show(result: Result, folder: Path, *, page: bool = True) -> None:
    """Print the main numbers, what to do, the zones, the warnings, and where the files are (`page`: a map, too)."""
    console = Console(highlight=False)
    console.print(f"\n[bold]{escape(result.plan.name)}[/bold], {summary.field_area_text(result)}")
    numbers = Table.grid(padding=(0, 2))
    for line in summary.main_numbers(result):
        numbers.add_row(f"[bold]{line.title}[/bold]", escape(line.text))
    console.print(numbers)
    _show_actions(console, result)
    for one in result.applications:
        _show_application(console, one, result)
    console.print(f"The verdict: {escape(change_text(result.verdict))}")
    for warning in result.warnings:
        console.print(f"Note: {escape(warning)}")
    opened = ": open map.html in a browser" if page else ""
    console.print(f"Written to {escape(str(folder))}{opened}. {escape(result.cautions[0])}")


def _show_actions(console: Console, result: Result) -> None:
    """Print the list of what to do."""
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=False, title="What to do", title_justify="left")
    for one in result.action_texts:
        table.add_row(
            f"[bold]{one.when}[/bold]", escape(" ".join(filter(None, (one.what, one.why, one.change))))
        )
    console.print(table)


def _show_application(console: Console, one: ApplicationMap, result: Result) -> None:
    """The zone table of an application, and how its machine fares."""
    units, several = result.plan.units, one.application.of > 1
    title = escape(summary.application_title(one)) if several else None
    table = Table(
        box=None,
        padding=(0, 1, 0, 0),
        header_style="bold",
        title=title,
        caption=f"Credit with its 90 % interval. {summary.reckoned_text(result)}",
    )
    for heading in summary.zone_columns(units, one.spread.zone_map.rows):
        table.add_column(
            heading, justify="left" if heading in ("Block", "Crop") else "right", overflow="fold"
        )
    for zone in one.spread.zone_map.rows:
        table.add_row(*(escape(cell) for cell in summary.zone_cells(zone, units)))
    console.print(table)
    console.print(
        f"By number of zones: {escape(summary.by_number_text(one, units, result.verdict.currency))}."
    )
    if not one.application.through_drip:
        console.print(f"Driven on paper: {escape(summary.driven_text(one, units))}.")


def show_season(result: Result) -> None:
    """Print each block's weeks: released, taken up, short, spare."""
    console, units = Console(highlight=False), result.plan.units
    console.print(
        f"\n[bold]{escape(result.plan.name)}[/bold], {rate_unit(units)} of nitrogen, mean of the block"
    )
    for season in result.budget.seasons:
        crop = result.plan.crop_of(season.block)
        table = Table(box=None, padding=(0, 1), header_style="bold", title=f"{season.block}: {crop.name}")
        for heading in summary.SEASON_COLUMNS:
            table.add_column(heading, justify="left" if heading == "From" else "right")
        for row in summary.season_rows(season, units):
            table.add_row(*row)
        console.print(table)
    _show_actions(console, result)


def show_check(result: Result) -> None:
    """Print that a plan is in order, and what a run of it warns of."""
    console = Console(highlight=False)
    console.print(escape(f"{result.plan.name}: the plan and its files are in order."))
    for warning in result.warnings:
        console.print(f"Note: {escape(warning)}")


def say(text: str) -> None:
    """Print a sentence."""
    Console(highlight=False).print(escape(text))


def show_table(name: str) -> None:
    """Print one table of the agronomy with the mark of every figure."""
    console = Console(highlight=False)
    table = Table(box=None, padding=(0, 1), header_style="bold", title=name.replace("_", " "))
    headings, rows = TABLE_ROWS[name]()
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    console.print(table)
    if name == "products":
        for entry in agronomy.products():
            console.print(escape(" ".join(entry.cautions)))
    if name in NOTES:
        console.print(escape(f"{NOTES[name]} {MARKS}"))
