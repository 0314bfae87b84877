"""Archives that are the same bytes each time, and the reading of anybody's."""

from __future__ import annotations

import io
import re
import stat
import struct
import tracemalloc
import zipfile
import zlib
from collections.abc import Callable
from itertools import permutations

import pytest

from evenhand.luts import archive, archive_read
from evenhand.luts.archive_read import Archive, ArchiveError, directory_of

MEMBERS = {"b/two.txt": b"two" * 500, "README.txt": b"words", "a.cube": bytes(range(256)) * 9}


def written(members: dict[str, bytes]) -> bytes:
    return b"".join(archive.pieces([archive.packed(name, d) for name, d in members.items()]))


def opened(data: bytes) -> Archive:
    return directory_of(io.BytesIO(data), len(data))


def zipped(
    *entries: tuple[str | zipfile.ZipInfo, bytes], method: int = zipfile.ZIP_STORED
) -> bytes:
    """An archive by Python's own writer."""
    with io.BytesIO() as file:
        with zipfile.ZipFile(file, "w", method) as maker:
            for name, data in entries:
                maker.writestr(name, data)
        return file.getvalue()


def test_another_reader_reads_it() -> None:
    """Python's zipfile finds the members, whole, sorted, of 1980, as files of a plain mode."""
    with zipfile.ZipFile(io.BytesIO(written(MEMBERS))) as reader:
        assert reader.testzip() is None
        assert {name: reader.read(name) for name in reader.namelist()} == MEMBERS
        assert reader.namelist() == sorted(MEMBERS)
        for entry in reader.infolist():
            assert entry.date_time == (1980, 1, 1, 0, 0, 0)
            assert entry.external_attr >> 16 == stat.S_IFREG | 0o644
            assert entry.create_system == 3


def test_order_does_not_count() -> None:
    """Every order of the same members gives the same bytes."""
    assert len({written(dict(order)) for order in permutations(MEMBERS.items())}) == 1


@pytest.mark.parametrize(
    "name", ["", "/a", "../a", "a/../b", "a//b", ".hidden", "a b", "ä", "a\\b"]
)
def test_names_that_are_no_plain_path_are_refused(name: str) -> None:
    """What would be refused on reading is not written."""
    with pytest.raises(ValueError, match="no name for a member"):
        archive.packed(name, b"")


def test_names_that_meet_are_refused() -> None:
    """On many disks large and small letters are one."""
    with pytest.raises(ValueError, match="one name"):
        written({"a.txt": b"", "A.txt": b""})


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_archives_of_others_are_read(method: int) -> None:
    """Stored and deflated, with folders in it, and with sizes after the members."""
    entries = (("folder/", b""), *MEMBERS.items(), ("empty", b""))
    found = opened(zipped(*entries, method=method))

    assert found.problems == []
    assert {n: found.read(n) for n, m in found.members.items() if not m.is_folder} == {
        **MEMBERS,
        "empty": b"",
    }


def test_sizes_after_the_members_are_read() -> None:
    """A writer that cannot seek puts them there (APPNOTE 4.3.9)."""

    class Pipe(io.BytesIO):
        def seekable(self) -> bool:
            return False

        def seek(self, *_: int) -> int:
            raise OSError

        def tell(self) -> int:
            raise OSError

    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as maker:
        maker.writestr("a", b"some words")
        maker.writestr("b", b"more words")
    found = opened(pipe.getvalue())

    assert found.problems == []
    assert found.read("b") == b"more words"


def link() -> bytes:
    info = zipfile.ZipInfo("looks.json")
    info.create_system, info.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    return zipped((info, b"/etc/passwd"))


def flagged(place: int, value: int) -> bytes:
    """An archive of one member with two bytes of its directory entry replaced."""
    data = bytearray(zipped(("a", b"words")))
    at = data.rfind(archive.CENTRAL_MARK) + place
    struct.pack_into("<H", data, at, value)
    return bytes(data)


def twice() -> bytes:
    data = zipped(("aa", b"1"), ("ab", b"2"))
    return data.replace(b"ab", b"aa")


def overlapping() -> bytes:
    """Two directory entries for one member's bytes: how a small file unpacks to a huge one."""
    data = zipped(("a", b"words"), ("b", b"words"))
    at = data.rfind(archive.CENTRAL_MARK)
    return data[: at + 42] + struct.pack("<I", 0) + data[at + 46 :]


def bomb() -> bytes:
    return zipped(("a.cube", bytes(20 << 20)), method=zipfile.ZIP_DEFLATED)


def huge() -> bytes:
    data = bytearray(zipped(("a.cube", b"words")))
    struct.pack_into("<I", data, data.rfind(archive.CENTRAL_MARK) + 24, 500 << 20)
    return bytes(data)


def hidden() -> bytes:
    """Bytes between two members that the directory does not tell of."""
    data = zipped(("a", b"words"), ("b", b"words"), ("c", b"words"))
    with zipfile.ZipFile(io.BytesIO(data)) as reader:
        b = reader.getinfo("b").header_offset
    directory = data.find(archive.CENTRAL_MARK)
    end = data.rfind(archive.END_MARK)
    entries = data[directory:end].split(archive.CENTRAL_MARK)[1:]
    kept = b"".join(archive.CENTRAL_MARK + e for e in entries if not e.endswith(b"b"))
    assert b < directory
    tail = archive.END.pack(archive.END_MARK, 0, 0, 2, 2, len(kept), directory, 0)
    return data[:directory] + kept + tail


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: zipped(("/etc/x", b"")), "absolute"),
        (lambda: zipped(("C:/x", b"")), "absolute"),
        (lambda: zipped(("a\\b", b"")), "absolute"),
        (lambda: zipped(("../x", b"")), "leaves its folder"),
        (lambda: zipped(("a/../../x", b"")), "leaves its folder"),
        (lambda: zipped(("a\nb", b"")), "unprintable"),
        (link, "link"),
        (lambda: flagged(8, 1), "encrypted"),
        (lambda: flagged(10, 12), "not read"),
        (twice, "second member"),
        (overlapping, "lies over|differs"),
        (bomb, "a trap"),
        (huge, "more than"),
        (hidden, "belong to no member"),
    ],
)
def test_what_is_unsafe_is_told_and_not_read(make: Callable[[], bytes], says: str) -> None:
    """One line for each, and the member is not there to be read."""
    found = opened(make())

    assert len(found.problems) == 1
    name, words = found.problems[0]
    assert re.search(says, words)
    assert name not in found.members or says == "second member"


def test_inflating_stops_at_the_stated_size() -> None:
    """A directory that lies about 40 MB costs no memory."""
    data = bytearray(zipped(("a", bytes(40 << 20)), method=zipfile.ZIP_DEFLATED))
    for mark, place in ((archive.CENTRAL_MARK, 24), (archive.LOCAL_MARK, 22)):
        struct.pack_into("<I", data, data.rfind(mark) + place, 4000)
    found = opened(bytes(data))
    tracemalloc.start()
    try:
        with pytest.raises(ArchiveError, match="4000 bytes that are stated"):
            found.read("a")
        assert tracemalloc.get_traced_memory()[1] < 1 << 20
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[:-30],
        lambda data: b"MZ" + data,
        lambda data: data + b"more",
        lambda data: data.replace(archive.CENTRAL_MARK, b"PK\x01\x09"),
        lambda data: b"",
        lambda data: b"words" * 100,
        lambda data: data[:-22] + archive.END.pack(archive.END_MARK, 0, 0, 60000, 60000, 1, 1, 0),
    ],
)
def test_what_is_no_whole_archive_is_refused(spoil: Callable[[bytes], bytes]) -> None:
    """Cut, with something before or after it, a damaged directory, no zip."""
    with pytest.raises(ArchiveError):
        opened(spoil(written(MEMBERS)))


def test_a_huge_file_is_refused_by_its_size() -> None:
    """Nothing of it is read."""
    with pytest.raises(ArchiveError, match="more than"):
        directory_of(io.BytesIO(), archive_read.MAX_BYTES + 1)


def test_changed_bytes_are_noticed() -> None:
    """By the CRC-32, and where inflating fails."""
    data = written({"a": b"words and words and more"})
    start = data.find(b"a") + 1
    for place in range(start, start + 10):
        spoiled = bytearray(data)
        spoiled[place] ^= 0x55
        with pytest.raises(ArchiveError):
            opened(bytes(spoiled)).read("a")
    assert zlib.crc32(opened(data).read("a")) == zlib.crc32(b"words and words and more")
