"""What a clip is, from its index and its first picture: one function, plain facts, no verdicts."""

from __future__ import annotations

import os
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import av.error
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from evenhand.errors import ClipError
from evenhand.measure.timing import nominal_rate
from evenhand.media.boxes import TopLevel, VideoTrack, top_level, video_tracks
from evenhand.media.files import (
    clip_error,
    is_bad_data,
    open_clip,
    share_work,
    video_stream,
)
from evenhand.media.firstpicture import FirstPicture, first_picture
from evenhand.media.frametimes import FrameTimes, frame_times
from evenhand.media.metadata import log_hints, vendor_words
from evenhand.media.orientation import orientation
from evenhand.media.records import AudioTrack, ClipFacts, ColourTags
from evenhand.names import kept_path
from evenhand.reasons import Why, because


def probe(path: Path | str, root: Path | str | None = None) -> ClipFacts:
    """Everything the container and the first picture of a clip say.

    `root` is the card: the path in the facts is relative to it where given. At most one picture is
    decoded. Raises ClipError where the file cannot be read as a clip.
    """
    path = Path(path)
    with open_clip(path, quick=True) as container:
        try:
            return _facts(path, root, container)
        except (av.error.FFmpegError, OSError) as error:
            raise clip_error(path, error) from error


def count_decoded(
    path: Path | str, progress: Callable[[int], None] | None = None
) -> tuple[int, int]:
    """Decodes the whole clip: the frames that came out, and the packets or frames that were bad.

    A payload that was changed without breaking the syntax still decodes: only a checksum shows it.
    """
    path = Path(path)
    got = bad = 0
    with open_clip(path) as container:
        stream = video_stream(container)
        share_work(stream)
        for packet in container.demux(stream):
            bad += packet.is_corrupt
            try:
                shown = packet.decode()
            except av.error.FFmpegError as error:
                if not is_bad_data(error):
                    raise clip_error(path, error) from error
                bad += 0 if packet.is_corrupt else 1
                continue
            got += len(shown)
            bad += sum(isinstance(f, VideoFrame) and f.is_corrupt for f in shown)
            if progress is not None:
                progress(got)
    return got, bad


def _facts(path: Path, root: Path | str | None, container: InputContainer) -> ClipFacts:
    stream = video_stream(container)
    context = stream.codec_context
    top = top_level(path)
    tracks = {track.number: track for track in video_tracks(path, top)}
    track = tracks.get(stream.id, VideoTrack(stream.id))
    times = frame_times(container, stream, track, path.stat().st_size)
    if not times.shown:
        raise ClipError(
            path,
            "none of its frames is in the file",
            "Copy it again from the card, or leave it out",
            "no-picture",
        )
    first = first_picture(container, stream)
    rate, constant = nominal_rate(times.shown, times.base)
    rotation, mirrored = orientation(track.matrix)
    kind = first.format if first is not None else context.format
    width, height = (first.width, first.height) if first else (context.width, context.height)
    aspect = Fraction(stream.sample_aspect_ratio or 1)
    gaps = [b - a for a, b in zip(times.shown, times.shown[1:], strict=False)]
    return ClipFacts(
        path=_relative(path, root),
        bytes=path.stat().st_size,
        container=_container_name(container, top),
        codec=context.codec.canonical_name,
        profile=context.profile or "",
        pixel_format=kind.name if kind else "",
        bits=max((part.bits for part in kind.components), default=0) if kind else 0,
        chroma=_chroma(kind),
        width=width,
        height=height,
        shown_size=_shown_size(width, height, aspect, rotation),
        frames=len(times.shown),
        frames_promised=times.promised,
        hidden_frames=times.hidden,
        time_base=_ratio(times.base),
        times=times.shown,
        rate=_ratio(rate),
        constant_rate=constant,
        longest_gap=float(max(gaps, default=times.last) * times.base),
        duration=float((times.shown[-1] - times.shown[0] + times.last) * times.base),
        rotation=rotation,
        mirrored=mirrored,
        pixel_aspect=_ratio(aspect),
        timecode=_timecode(container, stream),
        created=container.metadata.get("creation_time") or stream.metadata.get("creation_time"),
        audio=_audio(container),
        container_tags=_container_tags(track),
        bitstream_tags=first.tags if first else ColourTags(),
        vendor=vendor_words(container.metadata | stream.metadata),
        damage=_damage(times, top, first),
        log_hints=log_hints(container.metadata | stream.metadata),
    )


def _relative(path: Path, root: Path | str | None) -> str:
    if root is None:
        return kept_path(os.fspath(path))
    return kept_path(path.absolute().relative_to(Path(root).absolute()).as_posix())


def _ratio(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


def _container_name(container: InputContainer, top: TopLevel) -> str:
    brand = container.metadata.get("major_brand", "").strip()
    name = "mov" if brand == "qt" or b"ftyp" not in top.kinds else "mp4"
    return f"{name}, fragmented" if top.fragmented else name


def _chroma(kind: av.VideoFormat | None) -> str:
    if kind is None or not any(part.is_chroma for part in kind.components):
        return "4:4:4" if kind is not None and kind.is_rgb else "4:0:0"
    across, down = 16 // kind.chroma_width(16), 16 // kind.chroma_height(16)
    return {(1, 1): "4:4:4", (2, 1): "4:2:2", (2, 2): "4:2:0"}.get((across, down), "other")


def _shown_size(width: int, height: int, aspect: Fraction, rotation: int) -> tuple[int, int]:
    across = round(width * aspect)
    return (height, across) if rotation in (90, 270) else (across, height)


def _timecode(container: InputContainer, stream: VideoStream) -> str | None:
    places = [stream.metadata, *(s.metadata for s in container.streams.data), container.metadata]
    return next((place["timecode"] for place in places if place.get("timecode")), None)


def _audio(container: InputContainer) -> tuple[AudioTrack, ...]:
    tracks = []
    for stream in container.streams.audio:
        context, base = stream.codec_context, stream.time_base or Fraction(1, 1)
        tracks.append(
            AudioTrack(
                index=stream.index,
                codec=context.codec.canonical_name if context else "unknown",
                rate=context.sample_rate if context else 0,
                channels=context.channels if context else 0,
                layout=context.layout.name if context else "unknown",
                duration=float((stream.duration or 0) * base),
                start=float((stream.start_time or 0) * base),
                default=bool(stream.disposition & av.stream.Disposition.default),
            )
        )
    return tuple(tracks)


def _container_tags(track: VideoTrack) -> ColourTags:
    return ColourTags() if track.colr is None else ColourTags(*track.colr)


def _damage(times: FrameTimes, top: TopLevel, first: FirstPicture | None) -> Why:
    found = []
    if times.promised > len(times.shown):
        found.append(
            because("damage.frames-missing", promised=times.promised, frames=len(times.shown))
        )
    elif top.cut:
        found.append(because("damage.cut-short"))
    if first is None:
        found.append(because("damage.first-picture"))
    return tuple(found)
