"""The boxes of MP4 and MOV files (ISO/IEC 14496-12): where they are and what some of them say."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import msgspec

from evenhand.media.records import ColourTags

_IDENTITY = struct.pack(">9i", 65536, 0, 0, 0, 65536, 0, 0, 0, 1 << 30)
_ENTRY_HEAD = 8  # version, flags and the number of entries before the first sample entry
_PICTURE_ENTRY = 78  # fields of a visual sample entry between its own head and its boxes
_LARGEST_READ = 1 << 20


class Box(msgspec.Struct, frozen=True):
    """One box: its four characters, where it starts in the file, and its sizes in bytes."""

    kind: str
    start: int
    head: int
    size: int

    @property
    def body(self) -> int:
        """Where what it holds starts."""
        return self.start + self.head

    @property
    def end(self) -> int:
        """The first byte after it."""
        return self.start + self.size


class PictureTrack(msgspec.Struct, frozen=True):
    """What the container says of its first picture track.

    `colr` is the colour box, None where there is none; `turned` is true where the track header
    asks for a rotation, a mirror or a scale.
    """

    entry: str
    colr: Box | None
    tags: ColourTags | None
    turned: bool


def boxes(file: BinaryIO, start: int, end: int) -> Iterator[Box]:
    """Yield the boxes between two places of a file; stops where the bytes make no box."""
    while start + 8 <= end:
        file.seek(start)
        head = file.read(16)
        if len(head) < 8:
            return
        size, kind = struct.unpack(">I4s", head[:8])
        length = 8
        if size == 1 and len(head) == 16:
            size, length = struct.unpack(">Q", head[8:])[0], 16
        elif size == 0:
            size = end - start
        if size < length:
            return
        yield Box(kind.decode("latin-1"), start, length, size)
        start += size


def file_boxes(path: Path) -> tuple[Box, ...]:
    """Return the outermost boxes of a file in their order."""
    with path.open("rb") as file:
        return tuple(boxes(file, 0, path.stat().st_size))


def picture_track(path: Path) -> PictureTrack | None:
    """Read the first picture track of a file, None where it has none."""
    with path.open("rb") as file:
        for moov in boxes(file, 0, path.stat().st_size):
            for trak in boxes(file, moov.body, moov.end) if moov.kind == "moov" else ():
                if trak.kind == "trak" and _handler(file, trak) == b"vide":
                    return _read_track(file, trak)
    return None


def opened_without_colr(path: Path) -> BinaryIO:
    """Open a file so that its colour box reads as free space: what is left is the bitstream's."""
    track = picture_track(path)
    patch = track.colr.start + 4 if track is not None and track.colr is not None else None
    return io.BufferedReader(_Patched(path, patch), 1 << 16)


class _Patched(io.RawIOBase):
    """A file read with four of its bytes replaced by `free`."""

    def __init__(self, path: Path, patch: int | None) -> None:
        self._file = path.open("rb", buffering=0)
        self._patch = patch

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def readinto(self, buffer) -> int:  # type: ignore[no-untyped-def]
        start = self._file.tell()
        count = self._file.readinto(buffer) or 0
        if self._patch is not None:
            for place, byte in enumerate(b"free", start=self._patch):
                if start <= place < start + count:
                    memoryview(buffer).cast("B")[place - start] = byte
        return count

    def close(self) -> None:
        self._file.close()
        super().close()


def _read_track(file: BinaryIO, trak: Box) -> PictureTrack | None:
    matrix = b""
    header = _find(file, trak, "tkhd")
    if header is not None:
        data = _bytes(file, header)
        # The matrix stands before width and height, which are the last eight bytes.
        matrix = data[-44:-8]
    entries = _find(file, trak, "mdia", "minf", "stbl", "stsd")
    if entries is None:
        return None
    entry = next(boxes(file, entries.body + _ENTRY_HEAD, entries.end), None)
    if entry is None:
        return None
    inner = boxes(file, entry.body + _PICTURE_ENTRY, entry.end)
    colr = next((box for box in inner if box.kind == "colr"), None)
    tags = colour_tags(_bytes(file, colr)) if colr is not None else None
    return PictureTrack(entry.kind, colr, tags, matrix != _IDENTITY)


def colour_tags(body: bytes) -> ColourTags | None:
    """Read the body of a colour box: `nclx` (with a range flag) or `nclc` (without), else None."""
    if body[:4] == b"nclx" and len(body) >= 11:
        return ColourTags(*struct.unpack(">3H", body[4:10]), full_range=bool(body[10] & 0x80))
    if body[:4] == b"nclc" and len(body) >= 10:
        return ColourTags(*struct.unpack(">3H", body[4:10]), full_range=None)
    return None


def _handler(file: BinaryIO, trak: Box) -> bytes:
    box = _find(file, trak, "mdia", "hdlr")
    return _bytes(file, box)[8:12] if box is not None else b""


def _find(file: BinaryIO, box: Box, *path: str) -> Box | None:
    """Follow a path of kinds down from a box, the first of each kind."""
    found: Box | None = box
    for kind in path:
        if found is None:
            return None
        found = next((b for b in boxes(file, found.body, found.end) if b.kind == kind), None)
    return found


def _bytes(file: BinaryIO, box: Box) -> bytes:
    file.seek(box.body)
    return file.read(min(box.end - box.body, _LARGEST_READ))
