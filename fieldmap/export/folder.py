"""Files out, all or nothing: written beside the output folder, then moved into its place."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from fieldmap.budget import Application
from fieldmap.errors import OutputExistsError, Problem
from fieldmap.export.registry import files_of, formats_in

if TYPE_CHECKING:
    from fieldmap.pipeline import Result


def refuse_existing(folder: Path, *, overwrite: bool) -> None:
    """Refuse an output folder that is there already; replace only one that an earlier run wrote.

    Raises
    ------
    OutputExistsError
        Before anything is computed or written.
    """
    if not folder.exists() and not folder.is_symlink():
        _refuse_unwritable(folder)
        return
    ours = folder.is_dir() and not folder.is_symlink() and all(map(_is_ours, folder.iterdir()))
    if overwrite and ours:
        return
    found, action = (
        (
            "it holds files that fieldmap did not write" if folder.is_dir() else "it is not a folder",
            "Name another folder",
        )
        if not ours
        else ("it is already there", "Name another folder, or replace it with --overwrite")
    )
    raise OutputExistsError(
        Problem(str(folder), found, "a folder that is not there yet is expected for the output", action)
    )


def _is_ours(entry: Path) -> bool:
    """Whether a run writes such a file, or such a folder of an application with nothing else in it."""
    is_application = re.fullmatch(Application.folder_of(r"\d"), entry.name)
    if not is_application or entry.is_symlink() or not entry.is_dir():
        return entry.name in {one.name for one in formats_in("run")}
    ours = {one.name for one in (*formats_in("spread"), *formats_in("drip"))}
    return {file.name for file in entry.iterdir()} <= ours


def _refuse_unwritable(folder: Path) -> None:
    """The nearest folder above that exists must be one, and must let us write."""
    above = next(parent for parent in folder.absolute().parents if parent.exists() or parent.is_symlink())
    if above.is_dir() and os.access(above, os.W_OK):
        return
    reason = "writing there is not allowed" if above.is_dir() else f"{above.name} is a file"
    raise OutputExistsError(_not_writable(folder, reason))


def _not_writable(folder: Path, reason: str) -> Problem:
    expected = "a folder in a place that may be written is expected"
    return Problem(str(folder), f"it cannot be written ({reason})", expected, "Name another folder")


def write_folder(result: Result, folder: Path, *, overwrite: bool = False, data_only: bool = False) -> None:
    """Write the files of a run into `folder`; where one fails, the folder is left as it was.

    With `data_only` the pages for people (report, card, map) are left out.

    Raises
    ------
    OutputExistsError
        Where the folder exists, unless `overwrite` is set and an earlier run wrote it.
    """
    refuse_existing(folder, overwrite=overwrite)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputExistsError(_not_writable(folder, str(error.strerror))) from None
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as beside:
        fresh, old = Path(beside, "new"), Path(beside, "old")
        fresh.mkdir()
        for name, write in files_of(result, data_only=data_only).items():
            (fresh / name).parent.mkdir(exist_ok=True)
            write(fresh / name)
        if folder.exists():
            folder.rename(old)
        try:
            fresh.rename(folder)
        except OSError:
            if old.exists():
                shutil.move(old, folder)
            raise
