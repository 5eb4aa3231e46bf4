"""Files of our own, read back: what each of them holds."""

from __future__ import annotations

import zipfile
import zlib
from pathlib import PurePath
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

import rasterio
from defusedxml import DefusedXmlException

from fieldmap.errors import InputError, Problem
from fieldmap.export import registry
from fieldmap.export.contents import MAX_BYTES, AnotherFileError
from fieldmap.read import files

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def describe(path: Path) -> str:
    """Say in a sentence what an exported file holds.

    Raises
    ------
    InputError
        For a file that fieldmap did not write.
    """
    files.check_file(path, limit=MAX_BYTES)
    ending = path.suffix.lower()
    # Files may have been renamed: those of its own name first, then all with its ending.
    likely = sorted(registry.FORMATS, key=lambda one: one.name != path.name)
    readers = dict.fromkeys(one.describe for one in likely if PurePath(one.name).suffix == ending)
    if not readers:
        raise _not_ours(path, f"its ending {path.suffix or '(none)'} is none of ours")
    for reader in readers:
        try:
            return f"{path.name}: {_read(reader, path)}"
        except AnotherFileError:
            continue
    raise _not_ours(path, "it does not hold what fieldmap writes")


def _read(reader: Callable[[Path], str], path: Path) -> str:
    try:
        return reader(path)
    except AnotherFileError:
        raise
    except (
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        OSError,
        ParseError,
        DefusedXmlException,
    ) as error:
        raise _not_ours(path, "it does not hold what fieldmap writes") from error
    except (zipfile.BadZipFile, zlib.error, rasterio.errors.RasterioError) as error:
        raise _not_ours(path, "it cannot be opened") from error


def _not_ours(path: Path, found: str) -> InputError:
    expected = "a plan folder, or a file that a run wrote, is expected"
    return InputError(Problem(path.name, found, expected, "Name another file"))
