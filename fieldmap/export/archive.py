"""Zip files with the same bytes for the same content."""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that the format knows


def write_zip(path: Path, members: dict[str, bytes]) -> None:
    """Write members in their order, without the date of writing."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name, _NO_DATE), content, zipfile.ZIP_DEFLATED)
