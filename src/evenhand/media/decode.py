"""Frames of a clip: all of them in order, one at a time, or a sample.

Frames are found by their presentation time. A bad packet is skipped and counted, and never ends the
clip. Where a file is damaged without breaking the syntax nothing shows: only a checksum can.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from types import TracebackType

import av.error
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from evenhand.errors import ClipError
from evenhand.media.files import clip_error, is_bad_data, open_clip, share_work, video_stream
from evenhand.media.pixels import Planes, bits_of, can_read, planes_of, subsampling
from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts
from evenhand.reasons import Why, because

Seconds = Fraction | float | int


@dataclass(frozen=True, slots=True)
class DecodedFrame:
    """One picture as coded: not turned upright, codes as in the file.

    `planes` are Y', Cb, Cr (height, width), uint8 at 8 bits, else uint16; usually views that keep
    the decoder's memory alive, and that must not be written to. `sub_x` and `sub_y` are luma
    samples to a chroma sample. `time` is `pts` in seconds on the clip's clock. `corrupt` is the
    decoder's own doubt.
    """

    planes: Planes
    bits: int
    sub_x: int
    sub_y: int
    pts: int
    time: Fraction
    corrupt: bool = False

    def copied(self) -> DecodedFrame:
        """The same with memory of its own, for frames that are kept."""
        first, second, third = (plane.copy() for plane in self.planes)
        return replace(self, planes=(first, second, third))


class FrameSource:
    """An open clip that gives frames by presentation time; close it, or use it with `with`.

    `bad` counts packets that could not be decoded and frames the decoder doubts, so far.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self.bad = 0
        self._container: InputContainer = open_clip(self.path)
        self._stream: VideoStream = video_stream(self._container)
        self._base = Fraction(self._stream.time_base or 1)
        entries = self._stream.index_entries
        self._keys = sorted(e.timestamp for e in entries if e.is_keyframe)
        share_work(self._stream)
        self._running: Iterator[DecodedFrame] | None = None
        self._last = 0
        self._key: DecodedFrame | None = None

    def __enter__(self) -> FrameSource:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._running = self._key = None
        self._container.close()

    def all(self) -> Iterator[DecodedFrame]:
        """Every shown frame from the beginning, in order."""
        for frame in self._decoded():
            yield self._handed_out(frame)

    def since(self, pts: int) -> Iterator[DecodedFrame]:
        """The frames from the first at or after `pts`, in order.

        Seeking to a key frame can land too late in an open group of pictures, whose leading
        pictures are dropped: then it goes back further.
        """
        floor = self._keys[0] if self._keys else 0
        back = 0
        while True:
            goal = max(pts - back, floor)
            self._container.seek(goal, stream=self._stream, backward=True)
            frames = self._decoded()
            first = next(frames, None)
            if goal == floor or (first is not None and first.pts is not None and first.pts <= pts):
                break
            back = max(2 * back, round(1 / self._base))
        while first is not None:
            if first.pts is not None and first.pts >= pts:
                yield self._handed_out(first)
            first = next(frames, None)

    def at(self, pts: int) -> DecodedFrame:
        """The frame of that presentation time, or the first that can be decoded after it.

        Goes on from the last frame where no key frame lies between. ClipError if nothing follows.
        """
        if self._running is None or pts <= self._last or self._key_between(self._last, pts):
            self._running = self.since(pts)
        for frame in self._running:
            if frame.pts >= pts:
                self._last = frame.pts
                return frame
        self._running = None
        raise ClipError(
            self.path,
            f"no frame can be decoded at {float(pts * self._base):.3f} s or after it",
            "Choose an earlier time, or copy the clip again from the card",
            "no-picture",
        )

    def key_before(self, pts: int) -> DecodedFrame:
        """The frame that decoding can start from nearest before `pts`: cheap, and not exact.

        The first shown frame where nothing lies before. ClipError where none can be decoded.
        """
        key = self._key
        if key is not None and key.pts <= pts and not self._key_between(key.pts, pts):
            return key
        self._running = None
        self._container.seek(pts, stream=self._stream, backward=True)
        frame = next(self._decoded(), None)
        self._key = self.at(pts) if frame is None else self._handed_out(frame)
        return self._key

    def _key_between(self, before: int, after: int) -> bool:
        # Key frames are listed by decoding time, which is never later than their showing: this may
        # seek once too often, never wrongly.
        return bisect_right(self._keys, before) < bisect_right(self._keys, after)

    def _decoded(self) -> Iterator[VideoFrame]:
        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets, None)
                if packet is None:
                    return
                shown = packet.decode()
            except av.error.EOFError:
                return
            except (av.error.FFmpegError, OSError) as error:
                if not isinstance(error, av.error.FFmpegError) or not is_bad_data(error):
                    raise clip_error(self.path, error) from error
                self.bad += 1
                continue
            for frame in shown:
                if isinstance(frame, VideoFrame) and frame.pts is not None:
                    self.bad += bool(frame.is_corrupt)
                    yield frame

    def _handed_out(self, frame: VideoFrame) -> DecodedFrame:
        if not can_read(frame.format):
            raise ClipError(
                self.path,
                f"its pixels are {frame.format.name}; expected Y'CbCr of 8 to 16 bits",
                "Convert it to such a format, or leave it out",
                "other-pixels",
            )
        across, down = subsampling(frame.format)
        pts = int(frame.pts or 0)
        return DecodedFrame(
            planes=planes_of(frame),
            bits=bits_of(frame.format),
            sub_x=across,
            sub_y=down,
            pts=pts,
            time=pts * self._base,
            corrupt=bool(frame.is_corrupt),
        )


class Frames(Iterator[DecodedFrame]):
    """The shown frames of a clip in order, start <= time < stop, in seconds of the clip's clock.

    After the last frame `damage` says what could not be read, `count` how many
    frames came. The file is closed at the end, or by `close`, or by leaving the `with` block.
    """

    def __init__(
        self, path: Path | str, start: Seconds | None = None, stop: Seconds | None = None
    ) -> None:
        self._source = FrameSource(path)
        self._stop = stop
        base = self._source._base
        wanted = None if start is None else -((-Fraction(start)) // base)  # rounded up to a tick
        self._frames = self._source.all() if wanted is None else self._source.since(int(wanted))
        self.count = 0
        self._ended = False

    def __enter__(self) -> Frames:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __next__(self) -> DecodedFrame:
        frame = None if self._ended else next(self._frames, None)
        if frame is None or (self._stop is not None and frame.time >= self._stop):
            self.close()
            raise StopIteration
        self.count += 1
        return frame

    def close(self) -> None:
        if not self._ended:
            self._ended = True
            self._source.close()

    @property
    def bad(self) -> int:
        return self._source.bad

    @property
    def damage(self) -> Why:
        """What was found while decoding; empty while all is well."""
        if not self.bad:
            return ()
        return (because("damage.undecodable", places=self.bad, frames=self.count),)


def frames(path: Path | str, start: Seconds | None = None, stop: Seconds | None = None) -> Frames:
    """All shown frames of a clip in order, or those with start <= time < stop; see `Frames`."""
    return Frames(path, start, stop)


def frame_at(path: Path | str, time: Seconds, facts: ClipFacts | None = None) -> DecodedFrame:
    """The frame that is on screen at `time`; before the first the first, after the last the last.

    `facts` saves a probe where the caller has them.
    """
    facts = probe(path) if facts is None else facts
    with FrameSource(path) as source:
        return source.at(pts_at(facts, time))


def sample(
    path: Path | str, facts: ClipFacts, fractions: Sequence[float], *, exact: bool = True
) -> list[DecodedFrame]:
    """The frames nearest to these shares (0..1) of the clip's duration, in the order asked.

    Decodes only what lies between a key frame and each of them; if not `exact`, the key frames
    before them alone, which is many times quicker in long groups of pictures. Where nothing can be
    decoded at a time or after it, the nearest before serves; ClipError where nothing can be at all.
    Copies: they may be kept.
    """
    wanted = [nearest_pts(facts, share) for share in fractions]
    found: dict[int, DecodedFrame] = {}
    latest: DecodedFrame | None = None
    with FrameSource(path) as source:
        for pts in sorted(set(wanted)):
            try:
                latest = (source.at(pts) if exact else source.key_before(pts)).copied()
            except ClipError:
                # Nothing can be decoded from there on: the nearest that can lies before.
                latest = latest or source.at(facts.times[0]).copied()
            found[pts] = latest
    return [found[pts] for pts in wanted]


def pts_at(facts: ClipFacts, time: Seconds) -> int:
    """The presentation time, in ticks, of the frame that is on screen at `time` seconds."""
    ticks = Fraction(time) / Fraction(facts.time_base)
    return facts.times[max(bisect_right(facts.times, ticks) - 1, 0)]


def nearest_pts(facts: ClipFacts, share: float) -> int:
    """The presentation time of the frame nearest to a share (0..1) of the duration."""
    times = facts.times
    goal = times[0] + share * facts.duration / float(Fraction(facts.time_base))
    after = min(bisect_left(times, goal), len(times) - 1)
    before = max(after - 1, 0)
    return times[before] if goal - times[before] <= times[after] - goal else times[after]
