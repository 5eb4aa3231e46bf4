"""Zip files with the same bytes for the same content."""

from __future__ import annotations

import datetime as dt
import functools
import os
import zipfile
from importlib.metadata import version
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that the format knows


def write_zip(path: Path, members: dict[str, bytes]) -> None:
    """Write members in their order, without the date of writing."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name, _NO_DATE), content, zipfile.ZIP_DEFLATED)


def now() -> dt.datetime:
    """UTC; with SOURCE_DATE_EPOCH set, that moment, so that the same run writes the same bytes."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    return dt.datetime.fromtimestamp(int(epoch), dt.UTC) if epoch else dt.datetime.now(dt.UTC)


_LIBRARIES = ("fieldmap", "geopandas", "numpy", "pyproj", "rasterio", "scipy", "shapely")


@functools.cache
def versions() -> dict[str, str]:
    """Of fieldmap and the libraries behind its figures; looking one up takes as long as a small file."""
    return {name: version(name) for name in _LIBRARIES}
