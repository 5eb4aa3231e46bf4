"""What of a zip may be unpacked."""

import io
import stat
import struct
import zipfile

import pytest

from fieldmap.read.archives import DAMAGED, Limits, UnsafeZipError, safe_members, unpacked

LIMITS = Limits(members=3, unpacked_bytes=5_000_000, ratio=200)


def zip_of(*members):
    """A zip of (name or ZipInfo, content) pairs, open for reading."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return zipfile.ZipFile(buffer)


def link(name):
    member = zipfile.ZipInfo(name)
    member.external_attr = (stat.S_IFLNK | 0o777) << 16
    return member


def packed_with(method):
    member = zipfile.ZipInfo("a.txt")
    member.compress_type = method
    return member


@pytest.mark.parametrize(
    ("members", "reason", "member"),
    [
        ([(f"{n}.txt", "") for n in range(4)], "count", ""),
        ([("../a.txt", "")], "outside", "../a.txt"),
        ([("x/../../a.txt", "")], "outside", "x/../../a.txt"),
        ([("/a.txt", "")], "outside", "/a.txt"),
        ([("..\\a.txt", "")], "outside", "..\\a.txt"),
        ([("C:a.txt", "")], "outside", "C:a.txt"),
        ([("__MACOSX/../../a.txt", "")], "outside", "__MACOSX/../../a.txt"),
        ([(link("a.txt"), "/etc/passwd")], "link", "a.txt"),
        ([(link(".a"), "/etc/passwd")], "link", ".a"),
        ([("a.txt", "1" * 3_000_000), (".hidden", "1" * 3_000_000)], "size", ""),
        ([("a.txt", "1" * 3_000_000)], "ratio", "a.txt"),
        ([(packed_with(zipfile.ZIP_BZIP2), "x" * 100)], "compression", "a.txt"),
    ],
)
def test_what_is_not_unpacked(members, reason, member):
    with zip_of(*members) as archive, pytest.raises(UnsafeZipError) as caught:
        safe_members(archive, LIMITS)
    assert (caught.value.reason, caught.value.member) == (reason, member)
    assert caught.value.count == (len(members) if reason == "count" else 0)


def test_an_encrypted_member():
    with zip_of(("a.txt", "1")) as archive:
        archive.infolist()[0].flag_bits |= 1
        with pytest.raises(UnsafeZipError, match="encrypted"):
            safe_members(archive, LIMITS)


def test_what_is_left_are_the_files():
    with zip_of(("x/", ""), ("x/a.txt", "1"), ("__MACOSX/x/._a.txt", "2")) as archive:
        (member,) = safe_members(archive, LIMITS)
        assert member.filename == "x/a.txt"
        assert b"".join(unpacked(archive, member, 1)) == b"1"


def test_without_a_ratio_blank_files_are_let_through():
    with zip_of(("a.txt", "1" * 3_000_000)) as archive:
        assert len(safe_members(archive, Limits(3, 5_000_000))) == 1


def test_bytes_are_counted_while_unpacking():
    with zip_of(("a.txt", "1" * 1000)) as archive, pytest.raises(UnsafeZipError, match="size"):
        list(unpacked(archive, archive.getinfo("a.txt"), 999))


def test_a_member_that_is_longer_than_it_says():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.txt", "1" * 900_000)
    lying = buffer.getvalue().replace(struct.pack("<I", 900_000), struct.pack("<I", 100))
    with zipfile.ZipFile(io.BytesIO(lying)) as archive:
        (member,) = safe_members(archive, LIMITS)
        assert member.file_size == 100
        with pytest.raises(DAMAGED):
            list(unpacked(archive, member, 1000))
