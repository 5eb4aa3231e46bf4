"""What every reader keeps to: size limits, plain files only, coordinate systems by code, problems in full."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import pandas as pd
from pyproj import CRS
from pyproj.exceptions import CRSError

from fieldmap.errors import InputError, Problem

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import Final


# A field boundary or a season's samples take kilobytes. These bounds leave room for a farm's whole export
# and keep a hostile upload from filling the memory.
MAX_TEXT_BYTES: Final = 16 * 2**20  # GeoJSON, KML and CSV, which grow tenfold or more once parsed
MAX_BINARY_BYTES: Final = 128 * 2**20  # GeoPackage, and a shapefile once unpacked
MAX_FEATURES: Final = 100_000
MAX_POSITIONS: Final = 1_000_000
MAX_COLUMNS: Final = 300
MAX_PROBLEMS: Final = 50
WGS84: Final = CRS.from_epsg(4326)

_CRS_NAME = re.compile(
    r"(?:urn:ogc:def:crs:|https?://www\.opengis\.net/def/crs/)?"
    r"(?P<authority>EPSG|ESRI|OGC)[:/](?:[\d.]*[:/])?(?P<code>CRS84|\d{1,6})",
    re.IGNORECASE,
)


def check_file(path: Path, *, limit: int | None) -> None:
    """Refuse what is not a plain, readable file of at most `limit` bytes (None: no limit).

    Raises
    ------
    InputError
        No such file, a folder or device, an empty file, or one that is too large.
    """
    try:
        if not path.exists():
            raise InputError(
                Problem(path.name, "there is no such file", "a file is expected", "Check name and folder")
            )
        if not path.is_file():
            raise InputError(
                Problem(path.name, "this is not a plain file", "a file is expected", "Name a file")
            )
        size = path.stat().st_size
    except OSError as error:
        raise InputError(_unreadable(path)) from error
    if size == 0:
        raise InputError(
            Problem(path.name, "the file is empty", "a file with content is expected", "Save it again")
        )
    if limit is not None and size > limit:
        raise InputError(too_large(path, limit=limit))


def read_bytes(path: Path, *, limit: int) -> bytes:
    """Whole content of a file of at most `limit` bytes."""
    check_file(path, limit=limit)
    try:
        with path.open("rb") as stream:
            content = stream.read(limit + 1)
    except OSError as error:
        raise InputError(_unreadable(path)) from error
    if len(content) > limit:
        raise InputError(too_large(path, limit=limit))
    return content


def too_large(path: Path, *, limit: int) -> Problem:
    """Return the problem of a file, or of what it unpacks to, that is over the limit."""
    return Problem(
        path.name,
        f"the file holds more than {limit // 2**20} MB",
        "a field takes far less",
        "Save only this field and its columns",
    )


def _unreadable(path: Path) -> Problem:
    return Problem(
        path.name,
        "the file cannot be opened",
        "a readable file is expected",
        "Check its permissions and that no other program holds it",
    )


def known_crs(text: str) -> CRS | None:
    """Coordinate reference system named by an authority's code, such as ``EPSG:26918``; None if unknown.

    Only codes are looked up. PROJ strings are not accepted, since they can name files to be read.
    """
    match = _CRS_NAME.fullmatch(text.strip())
    if match is None:
        return None
    if match["code"].upper() == "CRS84":
        return WGS84
    try:
        return CRS.from_authority(match["authority"].upper(), match["code"])
    except CRSError:
        return None


def text_of(value: object) -> str:
    """Text of a cell or an attribute: one line, printable, empty if missing, whole numbers without ``.0``."""
    if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    printable = (character if character.isprintable() else " " for character in str(value))
    return " ".join("".join(printable).split())


def quoted(text: str) -> str:
    """Text from a file, fit to be shown in a message: one line, printable, at most 60 characters."""
    line = text_of(text)
    return f'"{line if len(line) <= 60 else line[:57] + "..."}"'


def names(items: Sequence[str], *, most: int = 20) -> str:
    """Join names from a file for a message, the first `most` of them."""
    shown = ", ".join(quoted(item)[1:-1] for item in items[:most])
    return shown if len(items) <= most else f"{shown} and {len(items) - most} more"


def raise_all(file: str, problems: Sequence[Problem]) -> None:
    """Raise one InputError with all the problems, if there are any; a long list is cut and says so."""
    if not problems:
        return
    shown = InputError(*problems).problems  # the same words at many places are one problem
    if len(shown) > MAX_PROBLEMS:
        found = f"{len(shown) - MAX_PROBLEMS} more problems were found"
        more = Problem(file, found, "none is expected", "Mend these first")
        raise InputError(*shown[:MAX_PROBLEMS], more)
    raise InputError(*problems)
