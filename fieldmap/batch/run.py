"""Many fields on Dask: each all or nothing, in any order, on any number of workers, and on from where it stopped."""

from __future__ import annotations

import contextlib
import functools
import logging
import os
import re
import shutil
import signal
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import dask
from distributed import Client, LocalCluster, as_completed
from distributed.scheduler import KilledWorker

from fieldmap.batch.fields import field_rows, summarise
from fieldmap.batch.files import BESIDE, TOGETHER, write_together
from fieldmap.batch.plan_list import at_hand
from fieldmap.errors import InputError, OutputExistsError, Problem
from fieldmap.export import is_written, read_field_folder, registry, versions, write_folder
from fieldmap.pipeline import run
from fieldmap.read import file_digests, read_plan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import Literal

    from distributed import Future

    from fieldmap.batch.fields import FieldRows, Summary
    from fieldmap.batch.plan_list import PlanFolder


# A worker keeps the memory that fields need again and again instead of handing it back after each array: a tenth
# of the time. And Dask gives it no field before the one in hand is done: one that kills its worker kills no other.
SETTINGS = {
    "distributed.nanny.pre-spawn-environ.MALLOC_MMAP_THRESHOLD_": str(32 * 2**20),
    "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": str(256 * 2**20),
    "distributed.scheduler.worker-saturation": 1.0,
}
# Settings of GDAL and of the linear algebra hold for a whole process: a worker with several threads takes turns.
ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class FieldOutcome:
    """What became of one field.

    Parameters
    ----------
    name
        Of its plan folder, and of its folder of files.
    state
        "written" now; "kept" from an earlier start; "refused" where the input is at fault; "failed" otherwise.
    rows
        Its rows in the tables; None without files.
    messages
        Why there are none.
    """

    name: str
    state: Literal["written", "kept", "refused", "failed"]
    rows: FieldRows | None
    messages: tuple[str, ...] = ()


@dataclass(frozen=True)
class BatchResult:
    """Every field's outcome, by name, and what they come to together."""

    outcomes: tuple[FieldOutcome, ...]
    summary: Summary

    @property
    def without_files(self) -> tuple[FieldOutcome, ...]:
        """The fields that were refused or failed."""
        return tuple(one for one in self.outcomes if one.rows is None)


def run_batch(
    plans: Sequence[PlanFolder],
    output: Path,
    *,
    client: Client,
    data_only: bool = False,
    done: Callable[[FieldOutcome], None] = lambda _: None,
) -> BatchResult:
    """Run many fields and write their files, and what they come to together.

    What an earlier start has written, from the same inputs by the same versions, is kept. Files do not depend
    on the workers, their number or the order.

    Parameters
    ----------
    plans
        From `fieldmap.read.plan_list.list_plans`.
    output
        Folder for the fields' folders and the tables; the workers must see it under the same path.
    client
        Of a Dask cluster, such as `local_workers` starts.
    data_only
        Leave the pages for people out.
    done
        Is told each outcome as it comes.

    Raises
    ------
    OutputExistsError
        Where the output folder holds files that fieldmap did not write.
    """
    output = output.absolute()
    refuse_foreign(output, plans)
    output.mkdir(parents=True, exist_ok=True)
    _sweep(output, plans)
    futures = client.map(
        run_field,
        [plan.name for plan in plans],
        [plan.address for plan in plans],
        output=str(output),
        data_only=data_only,
        client_versions=versions(),
        pure=False,
    )
    names = {future.key: plan.name for future, plan in zip(futures, plans, strict=True)}
    outcomes = []
    waiting = as_completed(futures)
    del futures  # what is told and released need not be remembered by the scheduler
    for future in waiting:
        outcome = _outcome(future, names[future.key])
        future.release()
        outcomes.append(outcome)
        done(outcome)
    _sweep(output, plans)
    outcomes.sort(key=lambda one: one.name)
    rows = [one.rows for one in outcomes if one.rows is not None]
    summary = summarise(rows, failed=len(outcomes) - len(rows))
    problems = [(one.name, message) for one in outcomes for message in one.messages]
    write_together(output, rows, summary, problems, linked=not data_only)
    return BatchResult(tuple(outcomes), summary)


def run_field(
    name: str, address: str, *, output: str, data_only: bool, client_versions: dict[str, str]
) -> FieldOutcome:
    """Compute one field and write its folder, or keep the one that is there; never raises for its input."""
    folder = Path(output, name)
    if versions() != client_versions:
        return FieldOutcome(name, "failed", None, (_other_versions(client_versions),))
    with ONE_AT_A_TIME:
        try:
            with at_hand(address) as plan_folder:
                kept = _write(plan_folder, folder, data_only=data_only)
            return FieldOutcome(
                name, "kept" if kept else "written", field_rows(name, read_field_folder(folder))
            )
        except InputError as error:
            return FieldOutcome(name, "refused", None, _told(folder, *map(str, error.problems)))
        except Exception as error:  # noqa: BLE001 - one field never stops the others
            return FieldOutcome(name, "failed", None, _told(folder, f"{type(error).__name__}: {error}"))


def _write(plan_folder: Path, folder: Path, *, data_only: bool) -> bool:
    """Make sure that the folder holds this plan's files; True where it did already."""
    plan = read_plan(plan_folder)
    written = functools.partial(
        is_written,
        folder,
        files=registry.file_names(plan, data_only=data_only),
        plan_hash=plan.hash(file_digests(plan)),
        versions=versions(),
    )
    if written():
        return True
    try:
        write_folder(run(plan), folder, overwrite=True, data_only=data_only)
    except OSError:
        if not written():  # else a worker of a start that was stopped came first
            raise
    return False


def _told(folder: Path, *messages: str) -> tuple[str, ...]:
    """Why there are no files; and a warning where those of an earlier plan are still there."""
    if not folder.exists():
        return messages
    return (
        *messages,
        f"{folder.name}: the files in this folder are not of this plan; do not spread by them.",
    )


def _other_versions(client_versions: dict[str, str]) -> str:
    differing = [
        f"{name} {versions().get(name)} instead of {version}"
        for name, version in client_versions.items()
        if versions().get(name) != version
    ]
    return f"a worker has {', '.join(differing)}; install the same versions everywhere"


def _outcome(future: Future[FieldOutcome], name: str) -> FieldOutcome:
    """The outcome of a finished future; a field whose workers died is reported like one that failed."""
    if future.status == "finished":
        outcome: FieldOutcome = future.result()
        return outcome
    if future.status == "error":
        error = future.exception()
        lost = isinstance(error, KilledWorker)
        message = (
            "the worker stopped each time this field was tried; it may need more memory than a worker has"
            if lost
            else f"{type(error).__name__}: {error}"
        )
        return FieldOutcome(name, "failed", None, (message,))
    raise ConnectionError("the scheduler gave the fields up; what is written is kept, start again to go on")


def refuse_foreign(output: Path, plans: Sequence[PlanFolder]) -> None:
    """Refuse an output folder that holds files of others, or a field whose name is one of our own files'.

    Raises
    ------
    OutputExistsError
        Before anything is computed.
    """
    expected = "a new folder, or that of an earlier start of this batch, is expected"
    action = "Name another folder"
    problems = []
    if output.exists() and not output.is_dir():
        problems.append(Problem(str(output), "it is not a folder", expected, action))
    elif output.exists():
        strange = [
            entry.name
            for entry in sorted(output.iterdir())
            if not entry.is_dir() and not entry.name.startswith(".") and entry.name not in TOGETHER
        ]
        if strange:
            found = f"it holds {strange[0]}, which fieldmap did not write"
            problems.append(Problem(str(output), found, expected, action))
    problems += [
        Problem(plan.address, "its name is that of a file which a batch writes", "another name", "Rename it")
        for plan in plans
        if plan.name in TOGETHER
    ]
    if problems:
        raise OutputExistsError(*problems)


def _sweep(output: Path, plans: Sequence[PlanFolder]) -> None:
    """Remove what a stopped start or a killed worker left half-written beside the fields' folders."""
    known = {BESIDE, *(plan.name for plan in plans)}
    for entry in output.iterdir():
        unfinished = re.fullmatch(r"\.(.+)-[a-z0-9_]{8}", entry.name)
        if unfinished and unfinished[1] in known and entry.is_dir():
            shutil.rmtree(entry, ignore_errors=True)


@contextlib.contextmanager
def local_workers(number: int) -> Iterator[Client]:
    """So many worker processes on this machine, each with one thread."""
    with tempfile.TemporaryDirectory(prefix="fieldmap-workers-") as scratch, dask.config.set(SETTINGS):
        with _deaf_to_the_keyboard():
            cluster = LocalCluster(
                n_workers=number,
                threads_per_worker=1,
                dashboard_address="127.0.0.1:0",
                local_directory=scratch,
                silence_logs=logging.CRITICAL,
            )
        with cluster, Client(cluster) as client:
            yield client


@contextlib.contextmanager
def _deaf_to_the_keyboard() -> Iterator[None]:
    """Processes started meanwhile do not hear Ctrl-C: the one that started them stops them."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread hears Ctrl-C, and may say so
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def workers_of(address: str) -> Iterator[Client]:
    """The workers of a scheduler that runs already.

    Raises
    ------
    InputError
        Where nothing answers at the address, or it has no worker.
    """
    expected = "a running Dask scheduler such as tcp://host:8786 is expected"
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        found = f"nothing answers there ({error})"
        raise InputError(Problem(address, found, expected, "Start dask scheduler first")) from None
    with client:
        if not client.nthreads():
            found, action = "it has no worker", f"Start dask worker {address} first"
            raise InputError(Problem(address, found, "at least one worker is expected", action))
        yield client


def workers_wanted() -> int:
    """One worker for each processor that this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
