"""A zip archive that is the same bytes for the same members: packed piece by piece; opens no file.

Members are sorted by name, stamped 1980-01-01, and files of a plain mode; nothing says when or
where they were packed. The packed bytes hang on zlib: another build of it may pack otherwise, while
the members stay the same. So what counts are the checksums of the members.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

LOCAL: Final = struct.Struct("<4s5H3I2H")
CENTRAL: Final = struct.Struct("<4s6H3I5H2I")
END: Final = struct.Struct("<4s4H2IH")
LOCAL_MARK: Final = b"PK\x03\x04"
CENTRAL_MARK: Final = b"PK\x01\x02"
END_MARK: Final = b"PK\x05\x06"
DEFLATED: Final = 8

# Of a table in text, level 4 makes 3 % more bytes than level 6 in a quarter of the time.
_LEVEL: Final = 4
_VERSION: Final = 20
_UNIX: Final = 3 << 8
_DATE: Final = (1 << 5) | 1  # 1980-01-01, the first that a zip can say
_MODE: Final = 0o100644 << 16
_MOST: Final = 1 << 31
_NAME: Final = re.compile(r"(?!\.)[A-Za-z0-9._-]+(?:/(?!\.)[A-Za-z0-9._-]+)*\Z")


@dataclass(frozen=True, slots=True)
class Packed:
    """One member, deflated: its name, its bytes' CRC-32 and count, and what is stored of it."""

    name: str
    crc: int
    size: int
    stored: bytes


def packed(name: str, data: bytes) -> Packed:
    """Deflate one member. ValueError for a name that is no plain relative path."""
    if not _NAME.match(name) or len(name) > 200:
        raise ValueError(f"{name!r} is no name for a member")
    deflate = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    return Packed(name, zlib.crc32(data), len(data), deflate.compress(data) + deflate.flush())


def pieces(members: Sequence[Packed]) -> Iterator[bytes]:
    """The archive, piece by piece. ValueError for names that meet, or too much for a plain zip."""
    ordered = sorted(members, key=lambda member: member.name)
    if len({member.name.lower() for member in ordered}) != len(ordered):
        raise ValueError("two members have one name")
    if len(ordered) > 0xFFFE or sum(m.size + len(m.stored) for m in ordered) > _MOST:
        raise ValueError("it is more than a plain zip holds")
    place, directory = 0, b""
    for member in ordered:
        name = member.name.encode("ascii")
        about = (_VERSION, 0, DEFLATED, 0, _DATE, member.crc, len(member.stored), member.size)
        head = LOCAL.pack(LOCAL_MARK, *about, len(name), 0) + name
        directory += CENTRAL.pack(
            *(CENTRAL_MARK, _UNIX | _VERSION, *about, len(name)), *(0, 0, 0, 0, _MODE, place)
        )
        directory += name
        place += len(head) + len(member.stored)
        yield head
        yield member.stored
    yield directory
    count = len(ordered)
    yield END.pack(END_MARK, 0, 0, count, count, len(directory), place, 0)
