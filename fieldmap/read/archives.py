"""Zips from elsewhere: what may be unpacked, within the bounds and in the words of whoever opens them."""

from __future__ import annotations

import stat
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator


Reason = Literal["count", "outside", "link", "size", "encrypted", "compression", "ratio"]
# What a zip that is cut, damaged or lies about its members raises when it is read.
DAMAGED: Final = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError)
_CHUNK = 2**18
_RATIO_FROM_BYTES = 2**20  # smaller members do no harm, whatever their ratio


@dataclass(frozen=True)
class Limits:
    """Most members, most bytes once unpacked, and most times that a member may unpack to its size (None: any)."""

    members: int
    unpacked_bytes: int
    ratio: int | None = None


class UnsafeZipError(Exception):
    """A zip that is not to be unpacked: why, the member that it is about ("" for all), and how many there are."""

    def __init__(self, reason: Reason, member: str = "", count: int = 0) -> None:
        super().__init__(reason, member, count)
        self.reason, self.member, self.count = reason, member, count


def safe_members(archive: zipfile.ZipFile, limits: Limits) -> list[zipfile.ZipInfo]:
    """Files of a zip that may be unpacked, without folders and what Finder adds. None of them is read yet.

    Sizes are those that the zip's directory tells; `unpacked` counts what comes out.

    Raises
    ------
    UnsafeZipError
        Where any member is unsafe, or all are too many or too large.
    """
    listed = archive.infolist()
    if len(listed) > limits.members:
        raise UnsafeZipError("count", count=len(listed))
    members = []
    for member in listed:
        name = PurePosixPath(member.filename.replace("\\", "/"))
        if name.is_absolute() or ".." in name.parts or ":" in member.filename:
            raise UnsafeZipError("outside", member.filename)
        if stat.S_ISLNK(member.external_attr >> 16):
            raise UnsafeZipError("link", member.filename)
        if member.is_dir() or "__MACOSX" in name.parts or name.name.startswith("."):
            continue
        members.append(member)
    if sum(member.file_size for member in listed) > limits.unpacked_bytes:
        raise UnsafeZipError("size")
    for member in members:
        if member.flag_bits & 0x1:
            raise UnsafeZipError("encrypted", member.filename)
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise UnsafeZipError("compression", member.filename)
        packed = max(member.compress_size, 1)
        if limits.ratio and member.file_size > max(_RATIO_FROM_BYTES, limits.ratio * packed):
            raise UnsafeZipError("ratio", member.filename)
    return members


def unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo, most_bytes: int) -> Iterator[bytes]:
    """Content of a member, chunk by chunk; what really comes out is counted, whatever the zip's directory says.

    Raises
    ------
    UnsafeZipError
        As soon as more than `most_bytes` have come.
    zipfile.BadZipFile
        Where the member is longer than the directory says, or its checksum is wrong.
    """
    written = 0
    with archive.open(member) as source:
        while chunk := source.read(_CHUNK):
            written += len(chunk)
            if written > most_bytes:
                raise UnsafeZipError("size")
            yield chunk
