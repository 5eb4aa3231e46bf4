"""Zipped shapefiles: unpacked here, member by member, under names of our own and within bounds."""

from __future__ import annotations

import re
import struct
import zipfile
from typing import TYPE_CHECKING

from fieldmap.errors import InputError, Problem
from fieldmap.read.archives import DAMAGED, Limits, UnsafeZipError, safe_members, unpacked
from fieldmap.read.files import MAX_BINARY_BYTES, check_file, names, too_large

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Final


MAX_ZIP_BYTES: Final = 32 * 2**20
MAX_MEMBERS: Final = 100
MAX_RATIO: Final = (
    200  # unpacked over packed, for members above 1 MB; blank columns of a .dbf reach about 100
)

_NEEDED = {
    ".shx": "it says where each shape begins",
    ".dbf": "it holds the columns",
    ".prj": "it says which coordinate reference system is used",
}

_SHAPE_TYPES = {1, 3, 5, 8, 11, 13, 15, 18, 21, 23, 25, 28}
_DBASE_VERSIONS = {0x03, 0x30, 0x31, 0x83, 0x8B}  # dBASE III to IV and FoxPro, with and without memo
_ACTION = "Zip the .shp, .shx, .dbf and .prj of one layer, nothing else"


def unpack_shapefile(path: Path, folder: Path) -> Path:
    """Unpack the one shapefile in a zip into `folder`, as layer.shp, layer.shx, layer.dbf, layer.prj.

    The layer may lie in a folder of the zip. Nothing is written under a name that the zip chose.

    Returns
    -------
    Path
        The layer.shp, its header checked, so that GDAL can take it for nothing else.

    Raises
    ------
    InputError
        Not a zip, unsafe or oversized content, not exactly one layer, or a part of it missing.
    """
    check_file(path, limit=MAX_ZIP_BYTES)
    try:
        with zipfile.ZipFile(path) as archive:
            members = safe_members(archive, Limits(MAX_MEMBERS, MAX_BINARY_BYTES, MAX_RATIO))
            parts = _layer_parts(path, members)
            remaining = MAX_BINARY_BYTES
            for suffix, member in parts.items():
                remaining -= _unpack(archive, member, folder / f"layer{suffix}", remaining)
    except UnsafeZipError as error:
        raise _refusal(path, error) from error
    except DAMAGED as error:
        found, expected = "the zip cannot be unpacked", "a whole zip file is expected"
        raise InputError(Problem(path.name, found, expected, "Zip the layer again")) from error
    _check_headers(path, folder)
    _drop_odd_encoding(folder / "layer.cpg")
    return folder / "layer.shp"


def _refusal(path: Path, error: UnsafeZipError) -> InputError:
    """What was found in a zip that is not to be unpacked, and what a layer's zip should be."""
    member = names([error.member])
    if error.reason == "size":
        return InputError(too_large(path, limit=MAX_BINARY_BYTES))
    found, expected, action = {
        "count": (f"the zip holds {error.count} files", f"at most {MAX_MEMBERS} are expected", _ACTION),
        "outside": (
            f"the zip holds a file that points outside it ({member})", "plain file names are expected", _ACTION,
        ),
        "link": (f"the zip holds a link ({member})", "plain files are expected", _ACTION),
        "ratio": (
            f"{member} unpacks to more than {MAX_RATIO} times its size", "a layer's own files are expected", _ACTION,
        ),
        "encrypted": ("the zip is encrypted", "a zip without a password is expected", "Zip the layer again"),
        "compression": (
            "the zip uses an unusual compression", "an ordinary zip (deflate) is expected", "Zip the layer again",
        ),
    }[error.reason]  # fmt: skip
    return InputError(Problem(path.name, found, expected, action))


def _layer_parts(path: Path, members: list[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    """The .shp and its companions, by suffix."""
    layers = [member for member in members if member.filename.lower().endswith(".shp")]
    if not layers:
        found = "there is no .shp in the zip"
        raise InputError(Problem(path.name, found, "a zipped shapefile is expected", _ACTION))
    if len(layers) > 1:
        listed = names([layer.filename for layer in layers])
        found = f"there are {len(layers)} layers in the zip ({listed})"
        raise InputError(Problem(path.name, found, "exactly one .shp is expected", _ACTION))
    stem = layers[0].filename[: -len(".shp")].lower()
    by_name = {member.filename.lower(): member for member in members}
    problems = [
        Problem(path.name, f"the {suffix} beside the .shp is missing", why, _ACTION)
        for suffix, why in _NEEDED.items()
        if stem + suffix not in by_name
    ]
    if problems:
        raise InputError(*problems)
    suffixes = (".shp", *_NEEDED, ".cpg")
    return {suffix: by_name[stem + suffix] for suffix in suffixes if stem + suffix in by_name}


def _unpack(archive: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path, limit: int) -> int:
    """Write one member of at most `limit` bytes; how many they were."""
    written = 0
    with target.open("wb") as sink:
        for chunk in unpacked(archive, member, limit):
            written += sink.write(chunk)
    return written


def _check_headers(path: Path, folder: Path) -> None:
    """Check that .shp, .shx and .dbf begin as they should, are whole and agree on the number of shapes."""
    for suffix in (".shp", ".shx"):
        size, header = _start(folder / f"layer{suffix}", 100)
        code, *unused, length = struct.unpack(">7i", header[:28])
        version, shape_type = struct.unpack("<2i", header[28:36])
        known = (code, version) == (9994, 1000) and not any(unused) and shape_type in _SHAPE_TYPES
        if not known:
            raise _damaged(path, f"the {suffix} does not begin as a shapefile does")
        if not 100 <= length * 2 <= size:
            raise _damaged(path, f"the {suffix} is cut short")
    shapes = (size - 100) // 8  # of the .shx
    size, header = _start(folder / "layer.dbf", 32)
    version, rows, header_size, row_size = struct.unpack("<B3xIHH", header[:12])
    if version not in _DBASE_VERSIONS or header_size < 33 or row_size == 0:
        raise _damaged(path, "the .dbf does not begin as a dBASE table does")
    if header_size + rows * row_size > size:
        raise _damaged(path, "the .dbf is cut short")
    if rows != shapes:
        raise _damaged(path, f"the .dbf has {rows} rows for {shapes} shapes")


def _start(file: Path, length: int) -> tuple[int, bytes]:
    """Size of a file and its first bytes, filled up with zeros if it is shorter."""
    with file.open("rb") as stream:
        return file.stat().st_size, stream.read(length).ljust(length, b"\0")


def _damaged(path: Path, found: str) -> InputError:
    return InputError(Problem(path.name, found, "a sound shapefile is expected", "Export the layer again"))


def _drop_odd_encoding(file: Path) -> None:
    """Keep a .cpg only if it plainly names an encoding."""
    if file.exists():
        text = file.read_bytes()[:100].decode("ascii", errors="replace").strip()
        if not re.fullmatch(r"[A-Za-z0-9 _-]{1,30}", text):
            file.unlink()
