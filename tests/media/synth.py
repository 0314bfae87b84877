"""Small clips made on the spot, with their frame number burnt in, and ways to break them.

Other tests reach this module by the fixture `synth` (see tests/conftest.py):

    def test_something(synth, tmp_path):
        clip = synth.write_clip(tmp_path / "a.mov", codec="prores", frames=12)
        assert synth.read_number(planes[0], bits) == 3
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

BLOCK = 12  # pixels a side; eight of them in the upper left corner hold the number
NUMBER_BITS = 8
TICKS = 90000

Planes = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]
Picture = Callable[[int], Planes]
Tags = tuple[int, int, int, int]  # primaries, transfer, matrix, range (0 unsaid, 1 narrow, 2 full)

HLG: Tags = (9, 18, 9, 1)
BT709: Tags = (1, 1, 1, 1)
PHONE_LOG: Tags = (9, 2, 9, 1)
UNTAGGED: Tags = (2, 2, 2, 0)

# The codecs by what phones call them, with a format and options that keep a test fast.
H264 = {"codec": "libx264", "pixel_format": "yuv420p", "options": {"preset": "ultrafast"}}
HEVC = {
    "codec": "libx265",
    "pixel_format": "yuv420p10le",
    "options": {
        "preset": "ultrafast",
        "x265-params": "log-level=none:pools=1:frame-threads=1:bframes=0",
    },
}
PRORES = {"codec": "prores_ks", "pixel_format": "yuv422p10le", "options": {"profile": "hq"}}


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """What a made clip is. `times` (ticks of 1/90000) replace the constant rate.

    `matrix` is the display matrix (a, b, c, d). `hidden` frames at the beginning are hidden by an
    edit list. `audio` is how many tracks of quiet PCM there are.
    """

    codec: str = "libx264"
    pixel_format: str = "yuv420p"
    options: Mapping[str, str] = field(default_factory=lambda: {"preset": "ultrafast"})
    size: tuple[int, int] = (192, 108)
    frames: int = 25
    rate: Fraction = Fraction(25)
    times: Sequence[int] | None = None
    tags: Tags = BT709
    matrix: tuple[int, int, int, int] | None = None
    hidden: int = 0
    audio: int = 0
    timecode: str | None = None
    metadata: Mapping[str, str] = field(default_factory=dict)
    front: bool = True  # index in front of the pictures
    picture: Picture | None = None


def write_clip(path: Path, **words: Any) -> Path:
    """Writes a clip by a `Recipe` given in words; MOV or MP4 by the suffix."""
    recipe = Recipe(**words)
    flags = "use_metadata_tags" + ("+faststart" if recipe.front else "")
    with av.open(str(path), "w", options={"movflags": flags}) as out:
        stream = _video(out, recipe)
        sounds = [
            out.add_stream("pcm_s16le", rate=48000, layout="mono") for _ in range(recipe.audio)
        ]
        out.metadata.update(recipe.metadata)
        if recipe.timecode:
            out.metadata["timecode"] = recipe.timecode
        for number in range(recipe.frames):
            _mux(out, stream.encode(_frame(recipe, number)), recipe)
        _mux(out, stream.encode(None), recipe)
        for sound in sounds:
            _write_sound(out, sound, recipe)
    return path


def _video(out: Any, recipe: Recipe) -> Any:
    stream = out.add_stream(recipe.codec, rate=recipe.rate, options=dict(recipe.options))
    stream.width, stream.height = recipe.size
    stream.pix_fmt = recipe.pixel_format
    stream.time_base = Fraction(1, TICKS)
    context = stream.codec_context
    context.time_base = Fraction(1, TICKS)
    context.thread_count = 1
    _tag(context, recipe.tags)
    if recipe.codec == "libx265":
        context.codec_tag = "hvc1"
    if recipe.matrix is not None:
        a, b, c, d = (v << 16 for v in recipe.matrix)
        stream.set_display_matrix([a, b, 0, c, d, 0, 0, 0, 1 << 30])
    return stream


def _tag(target: Any, tags: Tags) -> None:
    target.color_primaries, target.color_trc, target.colorspace, target.color_range = tags


def _frame(recipe: Recipe, number: int) -> Any:
    width, height = recipe.size
    frame = av.VideoFrame(width, height, recipe.pixel_format)
    planes = recipe.picture(number) if recipe.picture else test_picture(frame.format, number)
    for plane, values in zip(frame.planes, planes, strict=True):
        kind = values.dtype
        line = plane.line_size // kind.itemsize
        memory = np.frombuffer(plane, kind)[: line * plane.height].reshape(plane.height, line)
        memory[:, : values.shape[1]] = values
    frame.pts = time_of(recipe, number)
    frame.time_base = Fraction(1, TICKS)
    _tag(frame, recipe.tags)
    return frame


def time_of(recipe: Recipe, number: int) -> int:
    """Ticks of 1/90000 at which a coded frame is shown."""
    if recipe.times is not None:
        return recipe.times[number]
    return round(number / recipe.rate * TICKS)


def _mux(out: Any, packets: Sequence[Any], recipe: Recipe) -> None:
    lead = time_of(recipe, recipe.hidden) if recipe.hidden else 0
    for packet in packets:
        if lead:  # frames before zero are hidden by the edit list that the muxer writes
            ticks = round(Fraction(lead, TICKS) / packet.time_base)
            packet.pts -= ticks
            packet.dts -= ticks
        out.mux(packet)


def _write_sound(out: Any, stream: Any, recipe: Recipe) -> None:
    last = time_of(recipe, recipe.frames - 1) - (time_of(recipe, recipe.hidden))
    count = max(round(last * 48000 / TICKS), 1024)
    tone = 1000 * np.sin(np.arange(count) * 2 * np.pi * 440 / 48000)
    frame = av.AudioFrame.from_ndarray(tone.astype(np.int16)[None], "s16", "mono")
    frame.sample_rate, frame.pts = 48000, 0
    for packet in (*stream.encode(frame), *stream.encode(None)):
        out.mux(packet)


def test_picture(kind: Any, number: int) -> Planes:
    """A ramp with noise, and the number: planes of a planar Y'CbCr format."""
    bits = max(part.bits for part in kind.components)
    dtype = np.uint8 if bits <= 8 else np.uint16
    scale = 1 << (bits - 8)
    draw = np.random.default_rng(number)
    ramp = np.linspace(40, 200, kind.width)[None, :] + draw.normal(0, 2, (kind.height, kind.width))
    luma = (ramp * scale).astype(dtype)
    burn(luma, number, bits)
    size = kind.chroma_height(kind.height), kind.chroma_width(kind.width)
    chroma = [np.full(size, (128 + off) * scale, dtype) for off in (6, -9)]
    return luma, chroma[0], chroma[1]


test_picture.__test__ = False  # type: ignore[attr-defined]


def burn(luma: NDArray[Any], number: int, bits: int) -> None:
    """Writes the low eight bits of a number as dark and light blocks."""
    scale = 1 << (bits - 8)
    for place in range(NUMBER_BITS):
        value = 200 if number >> place & 1 else 40
        luma[:BLOCK, place * BLOCK : (place + 1) * BLOCK] = value * scale


def read_number(luma: NDArray[Any], bits: int) -> int:
    """The number that was burnt into a frame, read from its luma."""
    inner = slice(BLOCK // 4, BLOCK - BLOCK // 4)
    number = 0
    for place in range(NUMBER_BITS):
        left = place * BLOCK
        block = luma[inner, left + inner.start : left + inner.stop]
        number |= int(block.mean() > 120 * (1 << (bits - 8))) << place
    return number


def cut_to(path: Path, share: float) -> Path:
    """Keeps the first share of the bytes: a copy that was interrupted."""
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    return path


def cut_between_packets(path: Path, keep: int) -> Path:
    """Ends the file exactly after its first `keep` video packets; the index must be in front."""
    with av.open(str(path)) as container:
        entries = sorted(container.streams.video[0].index_entries, key=lambda e: e.pos)
    end = entries[keep - 1].pos + entries[keep - 1].size
    path.write_bytes(path.read_bytes()[:end])
    return path


def damage_packet(path: Path, number: int, bytes_lost: int = 12) -> Path:
    """Overwrites the head of one video packet with zeros."""
    with av.open(str(path)) as container:
        entry = container.streams.video[0].index_entries[number]
    data = bytearray(path.read_bytes())
    data[entry.pos : entry.pos + bytes_lost] = bytes(bytes_lost)
    path.write_bytes(data)
    return path


def retag_container(path: Path, primaries: int, transfer: int, matrix: int) -> Path:
    """Makes the container's colour box say something else than the bitstream."""
    data = bytearray(path.read_bytes())
    at = data.index(b"colr")
    struct.pack_into(">3H", data, at + 8, primaries, transfer, matrix)
    path.write_bytes(data)
    return path


def hide_container_tags(path: Path) -> Path:
    """Renames the container's colour box, so that only the bitstream is left."""
    data = path.read_bytes()
    assert b"colr" in data
    path.write_bytes(data.replace(b"colr", b"free", 1))
    return path
