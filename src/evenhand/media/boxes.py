"""The boxes of a MOV or MP4 file, read without the codec libraries.

ISO/IEC 14496-12 boxes and those of the older MOV. Only the file's own words are read here: the
libraries merge what the container and the bitstream say, and that difference is evidence.
All counts in a file are claims, so nothing is allocated by them: sizes are checked against the
bytes that are there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

IDENTITY = (1.0, 0.0, 0.0, 1.0)
MAX_MOOV = 512 << 20
_MAX_BOXES = 100_000
_CONTAINERS = {b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts"}
_VIDEO_ENTRY = 78  # bytes of a VisualSampleEntry before its own boxes


@dataclass(frozen=True, slots=True)
class Box:
    """A box by its four characters; `start` and `end` bound what is inside it."""

    kind: bytes
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class TopLevel:
    """The outermost boxes of a file. `cut` is True where the last one should reach further."""

    kinds: tuple[bytes, ...]
    moov: Box | None
    cut: bool

    @property
    def fragmented(self) -> bool:
        return b"moof" in self.kinds

    @property
    def looks_right(self) -> bool:
        """Whether the file begins like MOV or MP4 at all."""
        return bool(self.kinds) and self.kinds[0] in _FIRST


_FIRST = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot", b"styp", b"uuid", b"moof"}


@dataclass(frozen=True, slots=True)
class VideoTrack:
    """What the container says of one video track.

    `colr` is (primaries, transfer, matrix, full range or None). `matrix` is (a, b, c, d) of the
    display matrix, x' = a·x + c·y and y' = b·x + d·y with y downwards. The three arrays are in
    decode order: each sample's place in the file, composition offset and duration, both in ticks.
    """

    number: int
    colr: tuple[int, int, int, bool | None] | None = None
    matrix: tuple[float, float, float, float] = IDENTITY
    edit_list: bool = False
    sample_places: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    sample_offsets: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    lasting: Ints = field(default_factory=lambda: np.zeros(0, np.int64))


def top_level(path: Path) -> TopLevel:
    """The outermost boxes; reads a few bytes of each and skips what is inside."""
    size = path.stat().st_size
    kinds: list[bytes] = []
    moov: Box | None = None
    cut = False
    with path.open("rb") as file:
        at = 0
        while at + 8 <= size and len(kinds) < _MAX_BOXES:
            box = _header(file, at, size)
            if box is None:
                break
            kinds.append(box.kind)
            cut = cut or box.end > size
            if box.kind == b"moov" and box.end <= size:
                moov = box
            at = box.end
    return TopLevel(tuple(kinds), moov, cut)


def _header(file: BinaryIO, at: int, size: int) -> Box | None:
    file.seek(at)
    head = file.read(16)
    if len(head) < 8:
        return None
    length, kind = struct.unpack(">I4s", head[:8])
    start = at + 8
    if length == 1 and len(head) == 16:
        (length,) = struct.unpack(">Q", head[8:])
        start = at + 16
    elif length == 0:
        length = size - at
    return Box(kind, start, at + length) if at + length >= start else None


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[Box]:
    """The boxes that lie side by side in `data[start:end]`, up to the first that does not fit."""
    end = len(data) if end is None else end
    while start + 8 <= end:
        length, kind = struct.unpack_from(">I4s", data, start)
        inside = start + 8
        if length == 1 and start + 16 <= end:
            (length,) = struct.unpack_from(">Q", data, start + 8)
            inside = start + 16
        elif length == 0:
            length = end - start
        if start + length < inside or start + length > end:
            return
        yield Box(kind, inside, start + length)
        start += length


def video_tracks(path: Path, top: TopLevel) -> tuple[VideoTrack, ...]:
    """What the container says of each video track; empty where there is no readable `moov`."""
    if top.moov is None or top.moov.end - top.moov.start > MAX_MOOV:
        return ()
    with path.open("rb") as file:
        file.seek(top.moov.start)
        data = file.read(top.moov.end - top.moov.start)
    found = (_track(data, box) for box in boxes(data) if box.kind == b"trak")
    return tuple(track for track in found if track is not None)


def _track(data: bytes, trak: Box) -> VideoTrack | None:
    inside = _flatten(data, trak)
    if _handler(data, inside) != b"vide" or b"tkhd" not in inside:
        return None
    number, matrix = _track_header(data, inside[b"tkhd"])
    places, offsets, lasting = _samples(data, inside)
    return VideoTrack(
        number=number,
        colr=_colr(data, inside.get(b"stsd")),
        matrix=matrix,
        edit_list=b"elst" in inside,
        sample_places=places,
        sample_offsets=offsets,
        lasting=lasting,
    )


def _flatten(data: bytes, outer: Box) -> dict[bytes, Box]:
    """All boxes below `outer` by their kind; the first one of a kind counts."""
    found: dict[bytes, Box] = {}
    waiting = [outer]
    while waiting:
        box = waiting.pop()
        for inner in boxes(data, box.start, box.end):
            found.setdefault(inner.kind, inner)
            if inner.kind in _CONTAINERS:
                waiting.append(inner)
    return found


def _handler(data: bytes, inside: dict[bytes, Box]) -> bytes:
    # MOV has a second `hdlr` in `minf`; the media's own is the one in `mdia`.
    mdia = inside.get(b"mdia")
    if mdia is None:
        return b""
    for box in boxes(data, mdia.start, mdia.end):
        if box.kind == b"hdlr" and box.end - box.start >= 12:
            return data[box.start + 8 : box.start + 12]
    return b""


def _track_header(data: bytes, box: Box) -> tuple[int, tuple[float, float, float, float]]:
    wide = box.end > box.start and data[box.start] == 1  # version 1 has 64-bit times
    number_at, matrix_at = (
        (box.start + 20, box.start + 52) if wide else (box.start + 12, box.start + 40)
    )
    if box.end < matrix_at + 36:
        return 0, IDENTITY
    (number,) = struct.unpack_from(">I", data, number_at)
    a, b, _u, c, d = struct.unpack_from(">5i", data, matrix_at)
    if not any((a, b, c, d)):
        return number, IDENTITY
    return number, (a / 65536, b / 65536, c / 65536, d / 65536)


def _colr(data: bytes, stsd: Box | None) -> tuple[int, int, int, bool | None] | None:
    if stsd is None:
        return None
    for entry in boxes(data, stsd.start + 8, stsd.end):
        for box in boxes(data, entry.start + _VIDEO_ENTRY, entry.end):
            if box.kind != b"colr" or box.end - box.start < 10:
                continue
            kind, primaries, transfer, matrix = struct.unpack_from(">4s3H", data, box.start)
            if kind == b"nclx" and box.end - box.start >= 11:
                return primaries, transfer, matrix, bool(data[box.start + 10] & 0x80)
            if kind == b"nclc":
                return primaries, transfer, matrix, None
    return None


def _samples(data: bytes, inside: dict[bytes, Box]) -> tuple[Ints, Ints, Ints]:
    """Each sample's place in the file, composition offset and duration, in decode order."""
    places = _places(data, inside)
    count = len(places)
    lasting = _runs(data, inside.get(b"stts"), count, ">i4")
    offsets = _runs(data, inside.get(b"ctts"), count, ">i4")
    return places, offsets, lasting


def _table(data: bytes, box: Box | None, dtype: str, columns: int) -> Ints:
    """The rows of a table box, as many as it claims and really holds."""
    if box is None or box.end - box.start < 8:
        return np.zeros((0, columns), np.int64)
    (claimed,) = struct.unpack_from(">I", data, box.start + 4)
    width = np.dtype(dtype).itemsize
    rows = min(claimed, (box.end - box.start - 8) // (width * columns))
    table = np.frombuffer(data, dtype, rows * columns, box.start + 8)
    return table.astype(np.int64).reshape(rows, columns)


def _runs(data: bytes, box: Box | None, count: int, dtype: str) -> Ints:
    """A run-length table (`stts`, `ctts`) written out, cut or filled to `count` samples."""
    table = _table(data, box, dtype, 2)
    # A hostile count of 2^31 must cost no more than the samples that exist.
    repeats = np.clip(table[:, 0], 0, count)
    ends = np.minimum(np.cumsum(repeats), count)
    values = np.repeat(table[:, 1], np.diff(ends, prepend=0))
    return np.pad(values, (0, count - len(values)))


def _places(data: bytes, inside: dict[bytes, Box]) -> Ints:
    sizes = _sizes(data, inside.get(b"stsz"))
    chunks = _table(data, inside.get(b"stco"), ">u4", 1)[:, 0]
    if b"co64" in inside:
        chunks = _table(data, inside[b"co64"], ">i8", 1)[:, 0]
    groups = _table(data, inside.get(b"stsc"), ">u4", 3)
    if not len(groups) or not len(chunks) or not len(sizes):
        return np.zeros(0, np.int64)
    # Rising, whatever the file says: spans then add up to no more than there are chunks.
    first = np.maximum.accumulate(np.clip(groups[:, 0] - 1, 0, len(chunks)))
    spans = np.diff(np.append(first, len(chunks)))
    in_chunk = np.clip(np.repeat(groups[:, 1], spans), 0, len(sizes))[: len(chunks)]
    ends = np.minimum(np.cumsum(in_chunk), len(sizes))
    counts = np.diff(ends, prepend=0)
    chunk_of = np.repeat(np.arange(len(counts)), counts)
    sizes = sizes[: len(chunk_of)]
    before = np.cumsum(sizes) - sizes
    # Within a chunk samples lie end to end.
    chunk_start = before[np.searchsorted(chunk_of, chunk_of)]
    places: Ints = chunks[chunk_of] + before - chunk_start
    return places


def _sizes(data: bytes, box: Box | None) -> Ints:
    if box is None or box.end - box.start < 12:
        return np.zeros(0, np.int64)
    same, claimed = struct.unpack_from(">2I", data, box.start + 4)
    if same:
        return np.full(min(claimed, 1 << 20), same, np.int64)
    rows = min(claimed, (box.end - box.start - 12) // 4)
    return np.frombuffer(data, ">u4", rows, box.start + 12).astype(np.int64)
