"""The planes of a decoded picture as arrays, without a copy wherever the memory allows it.

Lines in memory are longer than the picture at many widths (1080, 854): only views that respect the
line size are right. A view keeps the whole picture's memory alive (33 MB at UHD): drop it soon.
"""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from av.video.format import VideoFormat
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from evenhand.kernels.planes import split_semi_planar

Plane = NDArray[Any]  # uint8 at 8 bits, else uint16
Planes = tuple[Plane, Plane, Plane]

_PLANAR: Final = re.compile(r"yuv(j|a)?(420|422|444)p((9|10|12|14|16)le)?$")
_HALF_PLANAR: Final = re.compile(r"(nv12|nv16|nv24|p[024]1[026]le)$")
_GREY: Final = re.compile(r"gray((9|10|12|14|16)le)?$")


def can_read(kind: VideoFormat) -> bool:
    """Whether pictures of this format can be handed out as Y', Cb and Cr."""
    return not (kind.is_rgb or kind.has_palette or kind.is_bayer or kind.is_bit_stream)


def bits_of(kind: VideoFormat) -> int:
    """Bits of the deepest component."""
    return max(part.bits for part in kind.components)


def subsampling(kind: VideoFormat) -> tuple[int, int]:
    """Luma samples to one chroma sample, across and down: (2, 2) is 4:2:0."""
    if not any(part.is_chroma for part in kind.components):
        return 1, 1
    return 16 // kind.chroma_width(16), 16 // kind.chroma_height(16)


def planes_of(frame: VideoFrame) -> Planes:
    """Y', Cb and Cr of a frame for which `can_read` is true, codes in the low bits.

    Shape (height, width) each, chroma rounded up at odd sizes; uint8 for 8 bits, else uint16. Views
    of the frame's memory for planar formats; copies where chroma is interleaved or codes sit in the
    high bits. Packed formats are unpacked by the library at the same bits and subsampling.
    """
    name = frame.format.name
    if _PLANAR.match(name):
        return _view(frame, 0), _view(frame, 1), _view(frame, 2)
    if _HALF_PLANAR.match(name):
        return _half_planar(frame)
    if _GREY.match(name):
        luma = _view(frame, 0)
        neutral = np.full_like(luma, 1 << (bits_of(frame.format) - 1))
        return luma, neutral, neutral
    return planes_of(_unpacked(frame))


def _view(frame: VideoFrame, number: int, interleaved: int = 1) -> Plane:
    plane = frame.planes[number]
    kind = np.dtype(np.uint8 if bits_of(frame.format) <= 8 else np.uint16)
    memory: Any = plane  # it has the buffer protocol, which its type does not say
    whole: Plane = np.frombuffer(memory, kind)
    line = plane.line_size // kind.itemsize
    lines = whole[: line * plane.height].reshape(plane.height, line)
    return lines[:, : plane.width * interleaved]


def _half_planar(frame: VideoFrame) -> Planes:
    luma, pairs = _view(frame, 0), _view(frame, 1, interleaved=2)
    # p010 and its kin keep their codes in the high bits.
    deep = luma.dtype == np.uint16
    return split_semi_planar(luma, pairs, bits_of(frame.format), high_bits=deep)


def _unpacked(frame: VideoFrame) -> VideoFrame:
    wanted = min(bits_of(frame.format), 16)
    bits = next(b for b in (8, 10, 12, 16) if b >= wanted)
    grid = {(1, 1): "444", (2, 1): "422", (2, 2): "420"}.get(subsampling(frame.format), "444")
    target = f"yuv{grid}p" + ("" if bits == 8 else f"{bits}le")
    # The same range on both sides: unpacking must not scale. One thread: with more, a line's end
    # was seen to be written over the beginning of the next (swscale 9, width 1080, 6 % of frames).
    kept = frame.color_range
    return frame.reformat(format=target, src_color_range=kept, dst_color_range=kept, threads=1)
