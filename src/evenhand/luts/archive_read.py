"""Reading a zip archive of anybody: judged by its directory before memory is spent; opens no file.

The directory is read whole and looked at: names that leave the folder, links, members that are
huge, packed too tightly, encrypted or laid over each other. What is unsafe is told and not read.
Inflating stops at the size that the directory states.
"""

from __future__ import annotations

import re
import stat
import struct
import threading
import zlib
from dataclasses import dataclass, field
from typing import BinaryIO, Final

from evenhand.errors import EvenhandError
from evenhand.luts import archive

MAX_BYTES: Final = 1 << 30
MAX_MEMBERS: Final = 2000
MAX_MEMBER: Final = 160 << 20
MAX_TOTAL: Final = 4 << 30
MAX_RATIO: Final = 400
"""Of a member over 1 MiB: a table in text packs to a third; one of a single colour to 1 in 250."""

_MAX_DIRECTORY: Final = 1 << 20
_MAX_COMMENT: Final = 65535
_ZIP64: Final = b"PK\x06\x07"
_STORED: Final = 0
_ENCRYPTED, _DESCRIPTOR, _UTF8 = 1 << 0, 1 << 3, 1 << 11
_DRIVE: Final = re.compile(r"[A-Za-z]:")
_REMEDY: Final = "Get the pack again, from whoever made it"


class ArchiveError(EvenhandError):
    """An archive that cannot be read at all."""


@dataclass(frozen=True, slots=True)
class Member:
    """One file of an archive as its directory states it."""

    name: str
    size: int
    stored: int
    crc: int
    method: int
    flags: int
    place: int
    mode: int

    @property
    def is_folder(self) -> bool:
        """Whether it is an entry for a folder, which holds nothing."""
        return self.name.endswith("/") and self.size == 0


@dataclass(slots=True)
class Archive:
    """What is in an archive. `members` can be read; `problems` are (name, what is wrong)."""

    file: BinaryIO
    members: dict[str, Member] = field(default_factory=dict)
    problems: list[tuple[str, str]] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def read(self, name: str) -> bytes:
        """A member's bytes; ArchiveError where they are not what the directory states."""
        member = self.members[name]
        with self.lock:
            self.file.seek(member.place)
            stored = self.file.read(member.stored)
        if member.method == _STORED:
            data, is_whole = stored, len(stored) == member.size
        else:
            inflate = zlib.decompressobj(-zlib.MAX_WBITS)
            try:
                data = inflate.decompress(stored, member.size + 1)
            except zlib.error as error:
                raise ArchiveError(name, f"it cannot be unpacked: {error}", _REMEDY) from error
            is_whole = inflate.eof or (not data and member.size == 0)
        if not is_whole or len(data) != member.size:
            raise ArchiveError(name, f"it is not the {member.size} bytes that are stated", _REMEDY)
        if zlib.crc32(data) != member.crc:
            raise ArchiveError(name, "its bytes are not those that were packed (CRC-32)", _REMEDY)
        return data


def directory_of(file: BinaryIO, total: int, name: str = "pack") -> Archive:
    """Read and judge the directory of an archive of `total` bytes.

    ArchiveError where it is none, too large, cut, in several parts, or its directory is damaged.
    """
    if total > MAX_BYTES:
        raise ArchiveError(name, f"it has {total} bytes, more than {MAX_BYTES}", _REMEDY)
    start, entries = _directory(file, total, name)
    found = Archive(file)
    seen: set[str] = set()
    whole = 0
    for member in entries:
        whole += member.size
        problem = _problem(member, seen)
        seen.add(member.name.lower())
        if problem:
            found.problems.append((member.name, problem))
        else:
            found.members[member.name] = member
    if whole > MAX_TOTAL:
        raise ArchiveError(name, f"it would unpack to {whole} bytes: a trap", "Do not open it")
    _lay_out(found, start)
    return found


def _directory(file: BinaryIO, total: int, name: str) -> tuple[int, list[Member]]:
    """Where the directory begins, and its entries as they are written."""
    most = archive.END.size + _MAX_COMMENT
    file.seek(max(0, total - most))
    tail = file.read(most)
    at = tail.rfind(archive.END_MARK)
    if at < 0 or len(tail) - at < archive.END.size:
        raise ArchiveError(name, "it is no zip archive, or it is cut", _REMEDY)
    _, disk, first, here, count, length, start, comment = archive.END.unpack_from(tail, at)
    if disk or first or here != count:
        raise ArchiveError(name, "it is one of several parts", "Give the pack in one file")
    if tail[max(0, at - 20) : at].startswith(_ZIP64) or 0xFFFF in (count, here):
        raise ArchiveError(name, "it is of the kind for over 4 GB (ZIP64)", _REMEDY)
    end = total - len(tail) + at
    if start + length != end or at + archive.END.size + comment != len(tail):
        found = "its directory does not lie where its end says, or there is more before or after it"
        raise ArchiveError(name, found, _REMEDY)
    if count > MAX_MEMBERS or length > _MAX_DIRECTORY:
        raise ArchiveError(name, f"it has {count} members: more than {MAX_MEMBERS}", _REMEDY)
    file.seek(start)
    try:
        entries = _entries(file.read(length), count)
    except (struct.error, ValueError) as error:
        raise ArchiveError(name, f"its directory is damaged: {error}", _REMEDY) from error
    return start, entries


def _entries(text: bytes, count: int) -> list[Member]:
    found, at = [], 0
    for _ in range(count):
        mark, made, _, flags, method, _, _, crc, stored, size, *rest = archive.CENTRAL.unpack_from(
            text, at
        )
        letters, extra, comment, _, _, attributes, place = rest
        if mark != archive.CENTRAL_MARK:
            raise ValueError("an entry does not begin as one")
        at += archive.CENTRAL.size
        raw = text[at : at + letters]
        if len(raw) != letters:
            raise ValueError("a name is cut")
        label = raw.decode("utf-8" if flags & _UTF8 else "cp437")
        mode = attributes >> 16 if made >> 8 == 3 else 0
        found.append(Member(label, size, stored, crc, method, flags, place, mode))
        at += letters + extra + comment
    if at != len(text):
        raise ValueError("there is more in it than its entries")
    return found


def _problem(member: Member, seen: set[str]) -> str:
    """What makes a member unsafe or unreadable; empty for a good one."""
    return _bad_name(member, seen) or _bad_kind(member) or _bad_size(member)


def _bad_name(member: Member, seen: set[str]) -> str:
    name = member.name
    parts = name.removesuffix("/").split("/")
    if name.startswith("/") or "\\" in name or _DRIVE.match(name):
        return "an absolute path, or one of another system"
    if ".." in parts or "." in parts or "" in parts:
        return "a path that leaves its folder or has empty parts"
    if not name.isprintable() or len(name) > 250:
        return "a name that is long or unprintable"
    return "a second member of that name" if name.lower() in seen else ""


def _bad_kind(member: Member) -> str:
    kind = stat.S_IFMT(member.mode)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "a link or another thing that is no file"
    if member.flags & _ENCRYPTED:
        return "it is encrypted"
    if member.method not in (_STORED, archive.DEFLATED):
        return f"it is packed in a way that is not read ({member.method})"
    return ""


def _bad_size(member: Member) -> str:
    if member.size > MAX_MEMBER:
        return f"it would unpack to {member.size} bytes, more than {MAX_MEMBER}"
    if member.size > 1 << 20 and member.size > MAX_RATIO * member.stored:
        return f"{member.stored} bytes that would unpack to {member.size}: a trap"
    return ""


def _lay_out(found: Archive, end: int) -> None:
    """Find where each member's bytes begin; tell those whose own head differs, and overlaps."""
    at = 0
    for member in sorted(found.members.values(), key=lambda m: m.place):
        begin = _data_of(found.file, member)
        problem = ""
        if begin is None:
            problem = "its own head differs from the directory"
        elif member.place < at or begin + member.stored > end:
            problem = "it lies over another member or the directory"
        elif member.place > at:
            problem = f"{member.place - at} bytes before it that belong to no member"
        if begin is not None:
            at = max(at, begin + member.stored)
            at = _after_descriptor(found.file, member, at, end)
        if problem:
            found.problems.append((member.name, problem))
            del found.members[member.name]
        else:
            assert begin is not None
            found.members[member.name] = _moved(member, begin)
    unsafe = {name for name, _ in found.problems}
    if at != end and not unsafe:
        found.problems.append(("pack", f"{end - at} bytes in it that belong to no member"))


def _moved(member: Member, begin: int) -> Member:
    return Member(
        *(member.name, member.size, member.stored, member.crc),
        *(member.method, member.flags, begin, member.mode),
    )


def _data_of(file: BinaryIO, member: Member) -> int | None:
    """Where a member's bytes begin, by its own head; None where that says something else."""
    file.seek(member.place)
    head = file.read(archive.LOCAL.size)
    if len(head) != archive.LOCAL.size:
        return None
    mark, _, flags, method, _, _, crc, stored, size, letters, extra = archive.LOCAL.unpack(head)
    raw = file.read(letters)
    stated = (crc, stored, size)
    fits = flags & _DESCRIPTOR or stated == (member.crc, member.stored, member.size)
    same_name = raw.decode("utf-8" if flags & _UTF8 else "cp437", "replace") == member.name
    if mark != archive.LOCAL_MARK or method != member.method or not fits or not same_name:
        return None
    return int(member.place + archive.LOCAL.size + letters + extra)


def _after_descriptor(file: BinaryIO, member: Member, at: int, end: int) -> int:
    """Past the sizes that some writers put after a member."""
    if not member.flags & _DESCRIPTOR:
        return at
    file.seek(at)
    head = file.read(4)
    return min(end, at + (16 if head == b"PK\x07\x08" else 12))
