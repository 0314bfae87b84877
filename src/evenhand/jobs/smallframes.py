"""Frames of a clip as small pictures for measuring what its light does over time.

Pictures stay as stored, not turned upright: their rows are the rows of the sensor's readout.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import Final

import msgspec
import numpy as np

from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.errors import ClipError
from evenhand.grade.document import Ripple, Steadying
from evenhand.measure.steady.framesteps import (
    LONGEST,
    Array,
    SmallFrame,
    channel_logs,
    floor_light,
    small_frame,
)
from evenhand.measure.views import AnalysisFrame
from evenhand.media.analysis import Signal, seconds_of, signal_of
from evenhand.media.decode import DecodedFrame, FrameSource
from evenhand.media.records import ClipFacts

VIEW_LONGEST: Final = 384  # pixels of the frames that are matched by their key points


@dataclass(frozen=True, slots=True)
class Moment:
    """One frame: seconds after the first, and its small signal; the larger one where asked for."""

    seconds: float
    small: Signal
    large: Signal | None


class SmallFrames:
    """A clip's frames, small; `ripple` is taken out of those that are read after it is set."""

    def __init__(self, path: Path, facts: ClipFacts, encoding: Encoding, clip_level: float) -> None:
        self.path, self.encoding, self.clip_level = path, encoding, clip_level
        self.facts = msgspec.structs.replace(facts, rotation=0, mirrored=False)
        self.ripple: Ripple | None = None
        start, base = facts.times[0], Fraction(facts.time_base)
        self.times = np.array([float((t - start) * base) for t in facts.times])
        self.read = 0

    @property
    def rows(self) -> Array:
        """Where the rows of a small frame lie, as fractions of the stored height."""
        width, height = self.facts.width, self.facts.height
        longest = max(width, height)
        # boxes of so many pixels are averaged (`signal_of`), and rows that fill none are left out
        step = longest // LONGEST // 2 * 2 if longest >= 2 * LONGEST else 1
        count = round(height * min(1.0, LONGEST / longest))
        return (np.arange(count) + 0.5) / count * (height // step * step / height)

    def pts(self, frame: int) -> int:
        """Presentation time of a frame in ticks."""
        return self.facts.times[frame]

    def run(self, first: int, count: int) -> list[SmallFrame]:
        """So many consecutive frames from a frame on."""
        with FrameSource(self.path) as source:
            frames = islice(source.since(self.pts(first)), count)
            return [self.small(self.moment(frame)) for frame in frames]

    def at(self, number: int) -> Moment:
        """One frame, larger too; the next that can be decoded, or else the first of the clip."""
        with FrameSource(self.path) as source:
            try:
                return self.moment(source.at(self.pts(number)), True)
            except ClipError:
                return self.moment(source.at(self.pts(0)), True)

    def since(self, first: int, count: int, larger: set[int]) -> Iterator[Moment]:
        """Consecutive frames from a frame on; those whose number is in `larger` also larger."""
        times = self.facts.times
        with FrameSource(self.path) as source:
            for frame in islice(source.since(self.pts(first)), count):
                yield self.moment(frame, bisect_left(times, frame.pts) in larger)

    def spread(self, apart: float) -> Iterator[Moment]:
        """Frames about so many seconds apart, larger ones too, whole clip.

        Those that decoding can start from are taken where they lie near enough: they cost least.
        """
        wanted = np.arange(0.0, self.times[-1] + 1e-9, apart)
        last = -1
        with FrameSource(self.path) as source:
            for goal in wanted:
                pts = self.pts(int(np.searchsorted(self.times, goal - 1e-9)))
                frame = source.key_before(pts)
                if float((pts - frame.pts) * Fraction(self.facts.time_base)) > apart:
                    try:
                        frame = source.at(pts)
                    except ClipError:
                        return  # nothing can be decoded from here on
                if frame.pts > last:
                    last = frame.pts
                    yield self.moment(frame, True)

    def moment(self, frame: DecodedFrame, larger: bool = False) -> Moment:
        """A decoded frame made small."""
        self.read += 1
        gone = Steadying(ripple=self.ripple, clip=self.clip_level) if self.ripple else None
        small = signal_of(frame, self.facts, self.encoding, LONGEST, gone)
        large = None
        if larger:
            large = signal_of(frame, self.facts, self.encoding, VIEW_LONGEST, gone)
        return Moment(seconds_of(frame, self.facts), small, large)

    def small(self, moment: Moment) -> SmallFrame:
        """What steps are measured on."""
        return small_frame(moment.small, self.encoding, self.clip_level, moment.seconds)

    def view(self, moment: Moment) -> AnalysisFrame:
        """What key points are found on; its light is that of each channel by itself."""
        assert moment.large is not None
        light = np.exp2(channel_logs(moment.large, self.encoding))
        matrix = rgb_to_rgb(self.encoding.primaries, "bt2020").astype(np.float32)
        return AnalysisFrame(
            signal=moment.large,
            light=light @ matrix.T,
            clip_level=self.clip_level,
            floor=floor_light(self.encoding),
            time=moment.seconds,
        )
