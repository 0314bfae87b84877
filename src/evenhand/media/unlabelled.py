"""The colour that a bitstream states by itself, read with the container's opinion hidden."""

from __future__ import annotations

import io
from pathlib import Path

import av

from evenhand.media.boxes import Box, boxes, top_level
from evenhand.media.records import ColourTags

_TO_ENTRIES = (b"trak", b"mdia", b"minf", b"stbl", b"stsd")
_ENTRIES_HEAD = 8  # version, flags and the number of entries
_PICTURE_ENTRY = 78  # fields of a visual sample entry before its own boxes (ISO/IEC 14496-12)
_FULL_RANGE = 2


def bitstream_tags(path: Path) -> ColourTags:
    """Decode the first frame of a MOV or MP4 file as if it had no colour box and return its tags.

    The library takes the container's tags where the bitstream has none, so only this proves that
    the bitstream has its own. Raises av.error.FFmpegError where nothing can be decoded.
    """
    with (
        io.BufferedReader(_Patched(path, _colr_places(path)), 1 << 16) as file,
        av.open(file, mode="r") as container,
    ):
        frame = next(container.decode(video=0))
        return ColourTags(
            int(frame.color_primaries),
            int(frame.color_trc),
            int(frame.colorspace),
            full_range=int(frame.color_range) == _FULL_RANGE,
        )


def _colr_places(path: Path) -> tuple[int, ...]:
    """Where in the file the four characters of the picture's colour boxes stand."""
    moov = top_level(path).moov
    if moov is None:
        return ()
    with path.open("rb") as file:
        file.seek(moov.start)
        data = file.read(moov.end - moov.start)
    places = []
    for table in _all(data, Box(b"moov", 0, len(data)), _TO_ENTRIES):
        for entry in boxes(data, table.start + _ENTRIES_HEAD, table.end):
            inner = boxes(data, entry.start + _PICTURE_ENTRY, entry.end)
            places += [moov.start + box.start - 4 for box in inner if box.kind == b"colr"]
    return tuple(places)


def _all(data: bytes, outer: Box, kinds: tuple[bytes, ...]) -> list[Box]:
    found = [outer]
    for kind in kinds:
        found = [b for box in found for b in boxes(data, box.start, box.end) if b.kind == kind]
    return found


class _Patched(io.RawIOBase):
    """A file in which the words at some places read `free`, the name of a box to skip."""

    def __init__(self, path: Path, places: tuple[int, ...]) -> None:
        super().__init__()
        self._file = path.open("rb", buffering=0)
        self._patches = {place + i: b for place in places for i, b in enumerate(b"free")}

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        start = self._file.tell()
        count = self._file.readinto(buffer) or 0
        for place, byte in self._patches.items():
            if start <= place < start + count:
                buffer[place - start] = byte
        return count

    def close(self) -> None:
        self._file.close()
        super().close()
