"""The app's plan folders: listed, made, copied, taken along; every change on disk at once and whole.

A plan under work is an ordinary plan folder, so that the command line reads the same. Text a person wrote into
plan.toml by hand, comments included, stays. Two writers take turns, and each changes only the keys it means to.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import os
import re
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs
import tomlkit

from fieldmap.app.plans.plan_file import change_plan, read_told, safe_name, write_atomically
from fieldmap.errors import InputError, Problem
from fieldmap.read import PLAN_FILE, archives

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from fieldmap.app.plans.plan_file import Path_


FOLDER_SETTING = "FIELDMAP_WORKSPACE"
UPLOAD_MAX_BYTES = 200 * 2**20
PLAN_ZIP_FILES_MAX = 50
NAME_MAX = 120  # as plan.toml allows
# What belongs to one season and is not carried into the next.
ONE_SEASON = {
    "samples": ("file", "sampled", "covariate", "confirmed", "crs", "growth"),
    "cover_crop": (
        "stage",
        "nitrogen",
        "nitrogen_error",
        "weed_nitrogen",
        "nodules",
        "sown",
        "terminated",
        "tarped",
    ),
    "crop": ("planted", "harvested"),
}

ONE_SEASON_SECTIONS = ("other_credits", "sidedress_test", "weather", "application", "strips", "thin_ground")


@dataclass(frozen=True)
class Listed:
    """A plan folder of the workspace: its name as the plan has it, and when it was last changed."""

    folder: Path
    name: str
    changed: dt.datetime


def workspace_folder(user: str | None = None) -> Path:
    """Where plans are kept: the folder that FIELDMAP_WORKSPACE names, else the system's place for data.

    `user` identifies who signed in; each has a folder of their own, whose name gives nothing away.
    """
    named = os.environ.get(FOLDER_SETTING)
    root = Path(named) if named else platformdirs.user_data_path("fieldmap") / "plans"
    if user is not None:
        root = root / "users" / hashlib.sha256(user.encode()).hexdigest()[:32]
    root.mkdir(parents=True, exist_ok=True)
    return root


def list_plans(root: Path) -> list[Listed]:
    """Every plan of a workspace, the last changed first."""
    found = []
    for file in root.glob(f"*/{PLAN_FILE}"):
        changed = max(part.stat().st_mtime for part in file.parent.iterdir() if part.is_file())
        name = file.parent.name
        with contextlib.suppress(InputError):
            name = str(read_told(file.parent).get("name") or name)
        found.append(Listed(file.parent, name, dt.datetime.fromtimestamp(changed).astimezone()))
    return sorted(found, key=lambda one: one.changed, reverse=True)


def plan_folder(root: Path, key: str) -> Path | None:
    """The plan folder of that name; None where there is none, or where the name points elsewhere."""
    folder = root / key
    safe = bool(key) and folder.parent == root and not key.startswith(".") and Path(key).name == key
    return folder if safe and (folder / PLAN_FILE).is_file() else None


def new_plan(root: Path, name: str, *, units: str = "metric") -> Path:
    """A folder with a plan that holds a name and units only."""
    folder = _fresh_folder(root, name)
    write_atomically(
        folder / PLAN_FILE, tomlkit.dumps({"name": name.strip()[:NAME_MAX], "units": units}).encode()
    )
    return folder


def copy_plan(root: Path, source: Path, *, name: str | None = None, key: str | None = None) -> Path:
    """A copy of a plan folder with all its files; `key` is wanted as the folder's name."""
    told = read_told(source)
    name = name or str(told.get("name") or source.name)
    folder = _fresh_folder(root, key or name)
    for file in plan_files(source):
        shutil.copyfile(file, folder / file.name)
    change_plan(folder, [(("name",), name[:NAME_MAX])])
    return folder


def copy_for_next_season(root: Path, source: Path) -> Path:
    """A copy that keeps boundary, no-spread areas, crops, needs and machine, without what belongs to one season."""
    told = read_told(source)
    name = f"{told.get('name') or source.name}, next season"[:NAME_MAX]
    folder = copy_plan(root, source, name=name)
    edits: list[tuple[Path_, Any]] = [
        ((section,), None) for section in ONE_SEASON_SECTIONS if section in told
    ]
    for section, keys in ONE_SEASON.items():
        edits += [((section, key), None) for key in keys if key in told.get(section, {})]
        for block in told.get("block", []):
            edits += [
                (("block", block["block"], section, key), None)
                for key in keys
                if key in block.get(section, {})
            ]
    change_plan(folder, edits)
    kept = {told.get("field", {}).get("boundary"), told.get("field", {}).get("no_spread"), PLAN_FILE}
    for file in plan_files(folder):
        if file.name not in kept:
            file.unlink()
    return folder


def remove_plan(folder: Path) -> None:
    """Remove a plan folder with everything in it."""
    shutil.rmtree(folder)


def plan_files(folder: Path) -> list[Path]:
    """The files of a plan folder, without what only the app keeps there."""
    return sorted(file for file in folder.iterdir() if file.is_file() and not file.name.startswith("."))


def zip_files(files: Sequence[tuple[str, bytes]]) -> bytes:
    """Files in one zip, the same bytes for the same content."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def plan_zip(folder: Path) -> bytes:
    """The plan folder, to be taken along and opened elsewhere."""
    return zip_files([(f"{folder.name}/{file.name}", file.read_bytes()) for file in plan_files(folder)])


def open_plan_zip(root: Path, content: bytes, file: str) -> Path:
    """Unpack a plan folder that was taken along.

    Raises
    ------
    InputError
        Where it is not such a zip, or holds too much.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            held = _held_files(archive)
    except archives.UnsafeZipError as error:
        raise InputError(_not_a_plan_zip(file, _why_unsafe(error))) from None
    except archives.DAMAGED:
        whole = zipfile.is_zipfile(io.BytesIO(content))
        raise InputError(
            _not_a_plan_zip(file, "it cannot be unpacked" if whole else "this is not a zip")
        ) from None
    if PLAN_FILE not in held:
        raise InputError(_not_a_plan_zip(file, "there is no plan.toml in it"))
    folder = _fresh_folder(root, Path(file).stem)
    for name, part in held.items():
        write_atomically(folder / name, part)
    return folder


def _held_files(archive: zipfile.ZipFile) -> dict[str, bytes]:
    """Plain files by their name alone: no folder of the zip decides where one is written."""
    held, remaining = {}, UPLOAD_MAX_BYTES
    for member in archives.safe_members(archive, archives.Limits(PLAN_ZIP_FILES_MAX, UPLOAD_MAX_BYTES)):
        content = b"".join(archives.unpacked(archive, member, remaining))
        remaining -= len(content)
        held[safe_name(Path(member.filename.replace("\\", "/")).name)] = content
    return held


def _why_unsafe(error: archives.UnsafeZipError) -> str:
    return {
        "count": f"it holds {error.count} files",
        "outside": f"a file in it points outside it ({error.member})",
        "link": f"it holds a link ({error.member})",
        "size": f"it unpacks to more than {UPLOAD_MAX_BYTES // 2**20} MB",
        "encrypted": "it is encrypted",
        "compression": "it uses an unusual compression",
    }[error.reason]


def _not_a_plan_zip(file: str, found: str) -> Problem:
    return Problem(file, found, "a zip of one plan folder is expected", "Download the plan folder again")


def _fresh_folder(root: Path, name: str) -> Path:
    """A new folder whose name follows the plan's; a number is added where it is taken."""
    stem = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "plan"
    for number in range(1, 10_000):
        folder = root / (stem if number == 1 else f"{stem}-{number}")
        with contextlib.suppress(FileExistsError):
            folder.mkdir()
            return folder
    raise InputError(
        Problem(stem, "there are too many plans of this name", "another name is expected", "Rename")
    )
