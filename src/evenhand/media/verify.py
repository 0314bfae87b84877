"""Reads a written master again, decodes all of it, and compares it with what was meant."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import msgspec
import numpy as np
import numpy.typing as npt

from evenhand.measure.quality import misplaced_frames, pixels_of_a_part, psnr, thumbnail
from evenhand.media.boxes import IDENTITY, VideoTrack, top_level, video_tracks
from evenhand.media.marks import MasterMark, read_mark
from evenhand.media.pixels import Planes, planes_of
from evenhand.media.records import ColourTags
from evenhand.media.unlabelled import bitstream_tags

Thumbnails = npt.NDArray[np.float32]

# Neighbours whose thumbnails differ by less cannot be told apart, in codes of 8 bits: what coding
# takes away, and the noise of a mean, which falls with the number of pixels in it (both measured).
_SLACK, _GRAIN = 1.0, 40.0
_PLACES = ("location", "gps", "xyz", "loci")


class SoundExpectation(msgspec.Struct, frozen=True):
    """What one audio track of a master must be. Lengths in samples at `rate` Hz."""

    codec: str
    rate: int
    channels: int
    samples: int
    overrun: int  # samples by which it may be longer or shorter


class MasterExpectation(msgspec.Struct, frozen=True):
    """What a master must turn out to be. `rate` is frames a second, PSNR bounds are in dB."""

    codec: str
    codec_tag: str
    profile: str
    pixel_format: str
    bits: int
    width: int
    height: int
    rate: str
    frames: int
    tags: ColourTags
    faststart: bool
    psnr_luma: float
    psnr_chroma: float
    sound: tuple[SoundExpectation, ...] = ()
    timecode: str | None = None
    mark: MasterMark | None = None


class Check(msgspec.Struct, frozen=True):
    """One comparison in words: what was expected, what was found, and whether they agree."""

    name: str
    expected: str
    found: str
    ok: bool


class Verification(msgspec.Struct, frozen=True):
    """All comparisons of one master. PSNR in dB over the frames compared; infinite is None."""

    checks: tuple[Check, ...]
    compared_frames: tuple[int, ...]
    psnr_y_min: float | None
    psnr_y_mean: float | None
    psnr_c_min: float | None
    psnr_c_mean: float | None

    @property
    def ok(self) -> bool:
        """Whether every check agrees."""
        return all(check.ok for check in self.checks)

    @property
    def failures(self) -> tuple[Check, ...]:
        """The checks that do not agree."""
        return tuple(check for check in self.checks if not check.ok)


@dataclass(slots=True)
class _Decoded:
    """What decoding all of a master showed."""

    sizes: set[str] = field(default_factory=set)
    formats: set[str] = field(default_factory=set)
    times: list[Fraction] = field(default_factory=list)
    thumbnails: list[npt.NDArray[np.float32]] = field(default_factory=list)
    luma: dict[int, float] = field(default_factory=dict)
    chroma: dict[int, float] = field(default_factory=dict)
    broken: int = 0
    progress: Callable[[int], None] | None = None


def verify_master(
    path: Path,
    expected: MasterExpectation,
    samples: Mapping[int, Planes],
    thumbnails: Thumbnails | None = None,
    progress: Callable[[int], None] | None = None,
) -> Verification:
    """Decode a whole master and compare it with what was meant.

    `samples` maps frame numbers to the planes Y, U, V that were given to the encoder; `thumbnails`
    (n, 8, 8) are those of every frame. `progress` is told how many frames have been read. A file
    that cannot be read is a check that fails, not an exception.
    """
    try:
        with av.open(f"file:{path.absolute()}", mode="r") as container:
            stream = container.streams.video[0]
            stream.thread_type = "AUTO"
            decoded = _Decoded(progress=progress)
            _decode(container, stream, decoded, expected, samples)
            checks = _stream_checks(container, stream, expected)
            checks += _frame_checks(decoded, expected)
            checks += _timecode_checks(stream, expected)
        checks += _colour_checks(path, expected)
        checks += _box_checks(path, expected)
        checks += _mark_checks(path, expected)
        checks += _sound_checks(path, expected)
    except (av.error.FFmpegError, OSError, IndexError, StopIteration) as error:
        return unread(Check("readable", "a file that decodes", f"{error}", False))
    if thumbnails is not None:
        checks.append(_order_check(decoded, thumbnails, expected))
    checks += _quality_checks(decoded, expected, samples)
    return _with_figures(checks, decoded)


def unread(why: Check) -> Verification:
    """Return the verification of a master of which nothing else could be checked."""
    return Verification((why,), (), None, None, None, None)


def _decode(
    container: Any,
    stream: Any,
    seen: _Decoded,
    expected: MasterExpectation,
    samples: Mapping[int, Planes],
) -> None:
    for packet in container.demux(stream):
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            seen.broken += 1
            continue
        for frame in frames:
            _look_at(frame, stream.time_base, seen, expected, samples)


def _look_at(
    frame: Any,
    base: Fraction,
    seen: _Decoded,
    expected: MasterExpectation,
    samples: Mapping[int, Planes],
) -> None:
    index = len(seen.times)
    seen.times.append(Fraction(-1) if frame.pts is None else frame.pts * base)
    seen.broken += bool(frame.is_corrupt)
    seen.sizes.add(f"{frame.width} x {frame.height}")
    seen.formats.add(frame.format.name)
    planes = planes_of(frame)
    seen.thumbnails.append(thumbnail(planes[0]))
    if seen.progress is not None:
        seen.progress(index + 1)
    meant = samples.get(index)
    if meant is None or any(p.shape != m.shape for p, m in zip(planes, meant, strict=False)):
        return
    seen.luma[index] = psnr(planes[0], meant[0], expected.bits)
    seen.chroma[index] = min(psnr(planes[i], meant[i], expected.bits) for i in (1, 2))


def _stream_checks(container: Any, stream: Any, expected: MasterExpectation) -> list[Check]:
    length = Fraction(expected.frames) / Fraction(expected.rate)
    found = (stream.duration or 0) * stream.time_base
    close = abs(found - length) <= Fraction(1, 1000)
    places = [key for key in {**container.metadata, **stream.metadata} if _names_place(key)]
    return [
        _same("codec", expected.codec, stream.codec_context.name),
        _same("codec tag", expected.codec_tag, str(stream.codec_context.codec_tag)),
        _same("profile", expected.profile, str(stream.profile)),
        _same("stated rate", str(Fraction(expected.rate)), str(stream.average_rate)),
        Check("duration", f"{float(length):.3f} s", f"{float(found):.3f} s", close),
        Check("place of the recording", "none", ", ".join(places) or "none", not places),
    ]


def _frame_checks(seen: _Decoded, expected: MasterExpectation) -> list[Check]:
    rate = Fraction(expected.rate)
    late = [i for i, time in enumerate(seen.times) if abs(time - i / rate) > Fraction(1, 2000)]
    stray = "" if not late else f"frame {late[0]} at {float(seen.times[late[0]]):.4f} s"
    every = f"a frame every {float(1000 / rate):.3f} ms"
    size = f"{expected.width} x {expected.height}"
    return [
        _same("frames", str(expected.frames), str(len(seen.times))),
        _same("broken frames", "0", str(seen.broken)),
        _same("size", size, ", ".join(sorted(seen.sizes))),
        _same("pixel format", expected.pixel_format, ", ".join(sorted(seen.formats))),
        Check("times of the frames", every, every if not late else stray, not late),
    ]


def _timecode_checks(stream: Any, expected: MasterExpectation) -> list[Check]:
    if expected.timecode is None:
        return []
    return [_same("time code", expected.timecode, stream.metadata.get("timecode", "none"))]


def _colour_checks(path: Path, expected: MasterExpectation) -> list[Check]:
    track = _picture(path)
    container = ColourTags() if track is None or track.colr is None else _as_tags(track.colr)
    meant = expected.tags
    if container.full_range is None:  # the colour box of a MOV has no range flag
        meant = msgspec.structs.replace(meant, full_range=None)
    return [
        _same("colour, container", _written(meant), _written(container)),
        _same("colour, bitstream", _written(expected.tags), _written(bitstream_tags(path))),
    ]


def _box_checks(path: Path, expected: MasterExpectation) -> list[Check]:
    top = top_level(path)
    kinds = top.kinds
    whole = not top.cut and b"moov" in kinds and b"mdat" in kinds
    order = "missing"
    if whole:
        order = "before" if kinds.index(b"moov") < kinds.index(b"mdat") else "after"
    wanted = "before" if expected.faststart else order
    track = _picture(path)
    upright = track is not None and track.matrix == IDENTITY
    return [
        Check("boxes", "whole", "whole" if whole else "cut", whole),
        _same("index and picture data", wanted, order),
        Check("rotation", "none", "none" if upright else "in the track header", upright),
    ]


def _mark_checks(path: Path, expected: MasterExpectation) -> list[Check]:
    meant = expected.mark
    if meant is None:
        return []
    found = read_mark(path)
    same = found is not None and found.means(meant)
    return [Check("mark", meant.brief, "none" if found is None else found.brief, same)]


def _sound_checks(path: Path, expected: MasterExpectation) -> list[Check]:
    with av.open(f"file:{path.absolute()}", mode="r") as container:
        count = len(container.streams.audio)
        indices = [stream.index for stream in container.streams.audio]
    checks = [_same("audio tracks", str(len(expected.sound)), str(count))]
    for number, (index, meant) in enumerate(zip(indices, expected.sound, strict=False), start=1):
        checks += _track_checks(path, index, f"audio {number}", meant)
    return checks


def _track_checks(path: Path, index: int, name: str, meant: SoundExpectation) -> list[Check]:
    first: Fraction | None = None
    total = broken = 0
    with av.open(f"file:{path.absolute()}", mode="r") as container:
        stream: Any = next(s for s in container.streams.audio if s.index == index)
        kind = _sound_kind(stream.codec_context.name, stream.rate, stream.channels)
        for packet in container.demux(stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                broken += 1
                continue
            for frame in frames:
                first = frame.pts * frame.time_base if first is None else first
                total += frame.samples
    start = math.nan if first is None else float(first)
    length_ok = abs(total - meant.samples) <= meant.overrun
    return [
        _same(name, _sound_kind(meant.codec, meant.rate, meant.channels), kind),
        _same(f"{name}, broken packets", "0", str(broken)),
        Check(f"{name}, start", "0.00000 s", f"{start:.5f} s", abs(start) * meant.rate <= 1),
        Check(
            f"{name}, length",
            f"{meant.samples} samples, give or take {meant.overrun}",
            f"{total} samples",
            length_ok,
        ),
    ]


def _order_check(seen: _Decoded, meant: Thumbnails, expected: MasterExpectation) -> Check:
    found = np.array(seen.thumbnails, np.float32).reshape(-1, 8, 8)
    pixels = pixels_of_a_part(expected.width, expected.height)
    slack = _SLACK + _GRAIN / math.sqrt(pixels)
    wrong = misplaced_frames(found, meant, slack * 2 ** (expected.bits - 8))
    told = f"{len(wrong)} misplaced, the first is {wrong[0]}" if wrong else "in order"
    return Check("order of frames", "in order", told, not wrong)


def _quality_checks(
    seen: _Decoded, expected: MasterExpectation, samples: Mapping[int, Planes]
) -> list[Check]:
    checks = [_same("compared frames", str(len(samples)), str(len(seen.luma)))]
    for name, values, bound in (
        ("PSNR, luma", seen.luma, expected.psnr_luma),
        ("PSNR, chroma", seen.chroma, expected.psnr_chroma),
    ):
        if values:
            index, worst = min(values.items(), key=lambda item: item[1])
            found = f"{worst:.1f} dB in frame {index}"
            checks.append(Check(name, f"at least {bound:.1f} dB", found, worst >= bound))
    return checks


def _with_figures(checks: list[Check], seen: _Decoded) -> Verification:
    luma, chroma = list(seen.luma.values()), list(seen.chroma.values())
    return Verification(
        checks=tuple(checks),
        compared_frames=tuple(sorted(seen.luma)),
        psnr_y_min=_finite(min(luma, default=math.inf)),
        psnr_y_mean=_finite(sum(luma) / len(luma) if luma else math.inf),
        psnr_c_min=_finite(min(chroma, default=math.inf)),
        psnr_c_mean=_finite(sum(chroma) / len(chroma) if chroma else math.inf),
    )


def _same(name: str, expected: str, found: str) -> Check:
    return Check(name, expected, found, expected == found)


def _picture(path: Path) -> VideoTrack | None:
    return next(iter(video_tracks(path, top_level(path))), None)


def _as_tags(colr: tuple[int, int, int, bool | None]) -> ColourTags:
    return ColourTags(colr[0], colr[1], colr[2], colr[3])


def _written(tags: ColourTags) -> str:
    ranges = {None: "no range", False: "narrow", True: "full"}
    return f"{tags.primaries}-{tags.transfer}-{tags.matrix}, {ranges[tags.full_range]}"


def _names_place(key: str) -> bool:
    return any(word in key.lower() for word in _PLACES)


def _sound_kind(codec: str, rate: int, channels: int) -> str:
    return f"{codec}, {rate} Hz, {channels} channel{'s' if channels != 1 else ''}"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
