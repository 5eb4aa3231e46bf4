"""GeoPackage: what is checked with SQLite before GDAL may open the file."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem
from fieldmap.read.files import MAX_BINARY_BYTES, check_file, names, quoted

if TYPE_CHECKING:
    from pathlib import Path


_APPLICATION_IDS = {b"GPKG", b"GP10", b"GP11"}  # at byte 68; the last two are versions 1.0 and 1.1


def copy_geopackage(path: Path, folder: Path, *, layer: str | None) -> tuple[Path, str]:
    """Copy a GeoPackage to `folder` and say which of its layers to read.

    A copy under a plain name: GDAL gives colons in a name a meaning, and SQLite may write beside the file.

    Returns
    -------
    tuple
        The copy, and the name of the one vector layer or of the `layer` asked for.

    Raises
    ------
    InputError
        Not a GeoPackage, several vector layers and no choice made, no such layer, or a layer that is computed
        by the file (a view, a virtual table, a generated column), which could run without end.
    """
    check_file(path, limit=MAX_BINARY_BYTES)
    expected, action = "a GeoPackage is expected", "Export the layer again as GeoPackage"
    with path.open("rb") as stream:
        header = stream.read(100)
    if not header.startswith(b"SQLite format 3\x00") or header[68:72] not in _APPLICATION_IDS:
        raise InputError(Problem(path.name, "this is not a GeoPackage", expected, action))
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size > 0:
        found, expected = "another program still holds changes to it", "a closed file is expected"
        raise InputError(Problem(path.name, found, expected, "Save and close it there"))
    copy = folder / "layer.gpkg"
    shutil.copyfile(path, copy)
    try:
        with closing(sqlite3.connect(f"{copy.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            _guard(database)
            return copy, _choose(path, database, layer)
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the latter from SQLite's own message
        raise InputError(
            Problem(path.name, "the database inside cannot be read", expected, action)
        ) from error


def _guard(database: sqlite3.Connection) -> None:
    """Stop any query that runs on, and let the schema call no functions with side effects."""
    steps = 0

    def stop() -> bool:
        nonlocal steps
        steps += 1
        return steps > 2000  # times 10 000 instructions: about a second

    database.set_progress_handler(stop, 10_000)
    database.execute("PRAGMA trusted_schema = OFF")


def _choose(path: Path, database: sqlite3.Connection, layer: str | None) -> str:
    objects = dict(database.execute("SELECT lower(name), coalesce(sql, '') FROM sqlite_master"))
    for name, sql in objects.items():
        if name.startswith("gpkg_") and not _is_index(sql) and not _is_plain_table(sql):
            raise InputError(_computed(path, name))
    rows = database.execute("SELECT table_name FROM gpkg_contents WHERE data_type = 'features' LIMIT 1000")
    layers = [name for (name,) in rows if isinstance(name, str)]
    if not layers or (layer is not None and layer not in layers):
        found = f"there is no layer {quoted(layer)}" if layers and layer else "there is no vector layer"
        expected = f"one of these is expected: {names(layers)}" if layers else "a vector layer is expected"
        raise InputError(Problem(path.name, found, expected, "Export the layer again as GeoPackage"))
    if layer is None and len(layers) > 1:
        found = f"there are {len(layers)} vector layers ({names(layers)})"
        raise InputError(
            Problem(path.name, found, "one is expected", "Save the one that is meant to a file of its own")
        )
    chosen = layer or layers[0]
    hidden = database.execute("SELECT count(*) FROM pragma_table_xinfo(?) WHERE hidden <> 0", (chosen,))
    if not _is_plain_table(objects.get(chosen.lower(), "")) or hidden.fetchone()[0]:
        raise InputError(_computed(path, chosen))
    return chosen


def _is_plain_table(sql: str) -> bool:
    return sql.upper().split()[:2] == ["CREATE", "TABLE"]


def _is_index(sql: str) -> bool:
    """An index or a trigger: neither runs when a layer is read. SQLite's own indexes have no SQL."""
    return not sql or sql.upper().startswith(("CREATE INDEX", "CREATE UNIQUE INDEX", "CREATE TRIGGER"))


def _computed(path: Path, name: str) -> Problem:
    return Problem(
        path.name,
        "this is a view or a computed table",
        "a layer that is stored as it is, is expected",
        "Export the layer to a new GeoPackage",
        part=f"layer {quoted(name)}",
    )
