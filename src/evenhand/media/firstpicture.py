"""What the first picture of a clip says of itself, with the container's opinion kept out."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import av
import av.error
from av.container import InputContainer
from av.packet import Packet
from av.video.codeccontext import VideoCodecContext
from av.video.format import VideoFormat
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from evenhand.media.files import MAX_PIXELS
from evenhand.media.records import ColourTags

_PACKETS = 4  # a damaged first packet must not hide what the next ones say
_RANGE = {1: False, 2: True}


@dataclass(frozen=True, slots=True)
class FirstPicture:
    """The bitstream's own colour tags, and the format and size of the pictures."""

    tags: ColourTags
    format: VideoFormat
    width: int
    height: int


def first_picture(container: InputContainer, stream: VideoStream) -> FirstPicture | None:
    """The first picture that can be read among the first packets; None if there is none.

    The stream's own decoder starts from what the container says and keeps it where the bitstream is
    silent. So a decoder of its own is made that starts from "unspecified", except where the tags
    stand in the open, in the header of each frame.
    """
    context = stream.codec_context
    for packet in _packets(container, stream):
        if context.codec.name == "prores" and context.format is not None:
            tags = _prores_tags(bytes(packet)[:32])
            if tags is not None:
                return FirstPicture(tags, context.format, context.width, context.height)
            continue
        frame = _decoded_alone(context, packet)
        if frame is not None:
            return FirstPicture(_tags(frame), frame.format, frame.width, frame.height)
    return None


def _packets(container: InputContainer, stream: VideoStream) -> Iterator[Packet[VideoStream]]:
    try:
        yield from (p for p in itertools.islice(container.demux(stream), _PACKETS) if p.size)
    except av.error.FFmpegError:
        return


def _prores_tags(head: bytes) -> ColourTags | None:
    """Tags in a ProRes frame header (SMPTE RDD 36); a decode of a large picture costs 80 ms more.

    None where this is no frame header. RDD 36 knows no range flag: codes are narrow.
    """
    if len(head) < 25 or head[4:8] != b"icpf":
        return None
    primaries, transfer, matrix = (code or 2 for code in head[22:25])  # 0 is "unknown" there
    return ColourTags(primaries, transfer, matrix, full_range=False)


def _decoded_alone(context: VideoCodecContext, packet: Packet[VideoStream]) -> VideoFrame | None:
    alone = VideoCodecContext.create(context.codec.name, "r")
    assert isinstance(alone, VideoCodecContext)
    alone.extradata = context.extradata
    alone.codec_tag = context.codec_tag
    alone.options = {"max_pixels": str(MAX_PIXELS)}
    alone.width, alone.height = context.width, context.height
    alone.thread_type = "SLICE"  # one picture: only its slices can be shared out
    try:
        # A fresh packet: the flag of an edit list would have the decoder drop the picture.
        shown = [*alone.decode(Packet(bytes(packet))), *alone.decode(None)]
    except av.error.FFmpegError:
        return None
    return shown[0] if shown else None


def _tags(frame: VideoFrame) -> ColourTags:
    return ColourTags(
        int(frame.color_primaries),
        int(frame.color_trc),
        int(frame.colorspace),
        _RANGE.get(int(frame.color_range)),
    )
