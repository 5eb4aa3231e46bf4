"""The commands: what each is asked, beside what it does.

What a command needs is imported where it runs, so that ``--help`` answers at once.
"""

from __future__ import annotations

import argparse
import json
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from collections.abc import Callable

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001 - it has no public name


DEMO_OUT = "out"
DATA_ONLY = "leave out the pages for people: report.pdf, card.pdf and map.html"
WORKERS_MAX = 512
TABLES = (
    "columns", "cover_crops", "crop_tests", "crops", "dressings", "files", "growth", "keys", "limits", "products",
    "season", "sources",
)  # fmt: skip


def _add_run(commands: Commands) -> None:
    run = commands.add_parser("run", help="compute a plan folder and write its files")
    run.add_argument("plan", metavar="PLAN", type=Path, help="the plan folder, or the plan.toml in it")
    run.add_argument("-o", "--output", metavar="DIR", type=Path, required=True, help="folder to write")
    run.add_argument("--overwrite", action="store_true", help="replace the output of an earlier run")
    run.add_argument("--data-only", action="store_true", help=DATA_ONLY)
    run.add_argument("--json", action="store_true", help="print result.json instead of the tables")
    run.set_defaults(command=_run)


def _run(options: argparse.Namespace) -> int:
    from fieldmap.cli import show as terminal
    from fieldmap.export import figures, refuse_existing, write_folder
    from fieldmap.pipeline import check, run

    refuse_existing(options.output, overwrite=options.overwrite)
    with terminal.progress() as step:
        result = check(options.plan, running=partial(run, progress=step))  # what is wrong, in the same words
        step("writing files")
        write_folder(result, options.output, overwrite=options.overwrite, data_only=options.data_only)
    if options.json:
        print(json.dumps(figures(result), indent=1, ensure_ascii=False, allow_nan=False))  # noqa: T201
    else:
        terminal.show(result, options.output, page=not options.data_only)
    return 0


def _add_check(commands: Commands) -> None:
    check = commands.add_parser(
        "check", help="say everything that is wrong with a plan folder; write nothing"
    )
    check.add_argument(
        "plan", metavar="PLAN", type=Path, help="the plan folder, its plan.toml, or a file that a run wrote"
    )
    check.set_defaults(command=_check)


def _check(options: argparse.Namespace) -> int:
    from fieldmap.cli import show as terminal
    from fieldmap.export import describe
    from fieldmap.pipeline import check

    written = options.plan.is_file() and options.plan.suffix != ".toml"
    if written:
        terminal.say(describe(options.plan))
    else:
        terminal.show_check(check(options.plan))
    return 0


def _add_season(commands: Commands) -> None:
    season = commands.add_parser(
        "season", help="print week by week what is released, taken up, short and spare"
    )
    season.add_argument("plan", metavar="PLAN", type=Path, help="the plan folder, or the plan.toml in it")
    season.set_defaults(command=_season)


def _season(options: argparse.Namespace) -> int:
    from fieldmap.cli import show as terminal
    from fieldmap.pipeline import run
    from fieldmap.read import read_plan

    with terminal.progress() as step:
        result = run(read_plan(options.plan), progress=step)
    terminal.show_season(result)
    return 0


def _add_batch(commands: Commands) -> None:
    batch = commands.add_parser("batch", help="run many plan folders, on this machine or on a cluster")
    batch.add_argument(
        "list",
        metavar="LIST",
        help="a folder of plan folders, a pattern such as 'farm/*', or a CSV with a column plan; a path or a URL",
    )
    batch.add_argument(
        "-o",
        "--output",
        metavar="DIR",
        type=Path,
        required=True,
        help="folder for the fields' folders and the tables; an unfinished one is gone on with",
    )
    where = batch.add_mutually_exclusive_group()
    where.add_argument(
        "--workers", metavar="N", type=_workers, help="worker processes here; one a processor if not given"
    )
    where.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="use the workers of this Dask scheduler, such as tcp://host:8786",
    )
    batch.add_argument("--data-only", action="store_true", help=DATA_ONLY)
    batch.set_defaults(command=_batch)


def _workers(text: str) -> int:
    number = int(text)
    if not 1 <= number <= WORKERS_MAX:
        raise argparse.ArgumentTypeError(f"found {number}; 1 to {WORKERS_MAX} workers are expected")
    return number


def _batch(options: argparse.Namespace) -> int:
    """Exit 2 where the input of a field is at fault, 1 where one failed otherwise; all others are written."""
    try:
        from fieldmap.batch import (
            list_plans,
            local_workers,
            refuse_foreign,
            run_batch,
            workers_of,
            workers_wanted,
        )
    except ModuleNotFoundError as error:
        raise InputError(
            Problem(
                "fieldmap batch",
                f"the library {error.name} is not installed",
                "the batch extra is expected",
                "Install fieldmap[batch]",
            )
        ) from None
    from fieldmap.cli import show as terminal

    plans = list_plans(options.list)
    refuse_foreign(options.output, plans)
    workers = (
        workers_of(options.scheduler)
        if options.scheduler
        else local_workers(min(options.workers or workers_wanted(), len(plans)))
    )
    try:
        with terminal.batch_progress(len(plans)) as done, workers as client:
            found = run_batch(plans, options.output, client=client, data_only=options.data_only, done=done)
    except KeyboardInterrupt:
        print("Stopped; fields that were written are kept: the same command goes on.", file=sys.stderr)  # noqa: T201
        return 1
    terminal.show_batch(found, options.output)
    states = {one.state for one in found.without_files}
    return 1 if "failed" in states else 2 if states else 0


def _add_demo(commands: Commands) -> None:
    demo = commands.add_parser("demo", help="run the invented sample farm")
    demo.add_argument(
        "-o", "--output", metavar="DIR", type=Path, default=Path(DEMO_OUT), help="folder to write"
    )
    demo.set_defaults(command=_demo)


def _demo(options: argparse.Namespace) -> int:
    from fieldmap.demo import sample_farm

    for folder in sample_farm():
        _run(
            argparse.Namespace(
                plan=folder, output=options.output / folder.name, overwrite=True, data_only=False, json=False
            )
        )
    return 0


def _add_app(commands: Commands) -> None:
    app = commands.add_parser("app", help="open the app in a browser, on this computer only")
    app.add_argument("--port", metavar="N", type=int, help="port to listen on; 8501 unless it is taken")
    app.add_argument("--no-browser", action="store_true", help="start the server without opening a browser")
    app.set_defaults(command=_app)


def _app(options: argparse.Namespace) -> int:
    try:
        from fieldmap.app.main import serve
    except ModuleNotFoundError as error:
        hint = 'pip install "fieldmap[app]" brings it'
        print(f"The app needs {error.name}, which is not installed: {hint}.", file=sys.stderr)  # noqa: T201
        return 1
    return serve(port=options.port, browser=not options.no_browser)


def _add_tables(commands: Commands) -> None:
    tables = commands.add_parser(
        "tables",
        help="print a table: plan keys, sample columns, files of a run, or agronomy with its sources",
    )
    tables.add_argument("name", metavar="NAME", choices=TABLES)
    tables.set_defaults(command=_tables)


def _tables(options: argparse.Namespace) -> int:
    from fieldmap.cli import show as terminal

    terminal.show_table(options.name)
    return 0


COMMANDS: tuple[Callable[[Commands], None], ...] = (
    _add_run,
    _add_check,
    _add_season,
    _add_batch,
    _add_demo,
    _add_app,
    _add_tables,
)
