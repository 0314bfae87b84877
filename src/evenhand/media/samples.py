"""The sound of one track as a steady run of samples that starts with the picture.

Whatever the track does (starts before or after the picture, has gaps, damaged packets, another
rate, ends early), what comes out has exactly the length asked for, at 48 kHz, with silence where
there was nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from evenhand.errors import ClipError
from evenhand.media.files import open_clip

Samples = npt.NDArray[np.float32]  # (channels, samples), full scale ±1

RATE = 48_000
BLOCK = 1024  # samples of one output block, the frame of AAC
_EDGE = 1  # seconds taken before and after the wanted part, so that the resampler is in its stride
_SEEK_FROM = 4  # seconds into the track from which seeking beats decoding
_JITTER = Fraction(1, 2000)  # seconds by which time stamps may stray before sound is moved

# ITU-R BS.775-3 table 2, 3/2 to 2/0: each side takes the centre and its surround at -3 dB.
# The low-frequency channel is left out. A single rear channel goes to both sides at -6 dB (3/1).
# Side and back pairs of seven-channel sound count as surround (common practice, no source).
_HALF_POWER = math.sqrt(0.5)
_TO_STEREO = {
    "FL": (1.0, 0.0),
    "FR": (0.0, 1.0),
    "FC": (_HALF_POWER, _HALF_POWER),
    "LFE": (0.0, 0.0),
    "BL": (_HALF_POWER, 0.0),
    "BR": (0.0, _HALF_POWER),
    "SL": (_HALF_POWER, 0.0),
    "SR": (0.0, _HALF_POWER),
    "BC": (0.5, 0.5),
}


def stereo_matrix(channels: tuple[str, ...]) -> npt.NDArray[np.float64]:
    """Return the (2, n) weights that mix channels of these names down to two.

    Channels without a place in the room go to both sides in equal parts.
    """
    if all(name in _TO_STEREO for name in channels):
        return np.array([_TO_STEREO[name] for name in channels]).T
    return np.full((2, len(channels)), 1.0 / len(channels))


def sample_count(duration: Fraction) -> int:
    """Return how many samples go with a picture of that length in seconds."""
    return math.floor(duration * RATE + Fraction(1, 2))


class TrackSamples:
    """One audio track of a clip from `start` (seconds on the clip's clock) for `duration` seconds.

    `stereo` mixes more than two channels down to two, lowered by just enough that nothing clips.
    After `blocks` has run, `damaged` counts packets that could not be decoded.
    """

    def __init__(
        self, clip: Path, index: int, start: Fraction, duration: Fraction, *, stereo: bool
    ) -> None:
        self.clip = clip
        self.index = index
        self.start = start
        self.count = sample_count(duration)
        self.damaged = 0
        self._mix: npt.NDArray[np.float64] | None = None
        with open_clip(clip) as container:
            context = _audio(container, index).codec_context
            self.rate = context.sample_rate
            self.channels = context.channels
            self.layout = context.layout.name
            names = tuple(channel.name for channel in context.layout.channels)
        if self.rate <= 0 or self.channels <= 0:
            raise ClipError(
                clip, f"audio track {index} names no rate or no channels", "Leave the track out"
            )
        if stereo and self.channels > 2:
            self._mix = stereo_matrix(names)
            peak = max((float(np.abs(block).max()) for block in self.blocks()), default=0.0)
            self._mix = self._mix / max(1.0, peak)
            self.channels, self.layout = 2, "stereo"

    def blocks(self) -> Iterator[Samples]:
        """Yield (channels, ≤ 1024) blocks, `count` samples in all; the first is at `start`."""
        self.damaged = 0
        skip, left = _EDGE * RATE, self.count
        kept: list[Samples] = []
        held = 0
        for run in self._resampled():
            part = run[:, skip : skip + left]
            skip -= min(skip, run.shape[1])
            left -= part.shape[1]
            kept.append(part)
            held += part.shape[1]
            if held >= BLOCK:
                joined = np.concatenate(kept, axis=1)
                whole = held // BLOCK * BLOCK
                for at in range(0, whole, BLOCK):
                    yield joined[:, at : at + BLOCK]
                kept, held = [joined[:, whole:]], held - whole
            if left == 0:
                break
        if held:
            yield np.concatenate(kept, axis=1)

    def _resampled(self) -> Iterator[Samples]:
        """Samples at 48 kHz from `_EDGE` before the start to at least the end."""
        if self.rate == RATE:
            yield from self._steady()
            return
        # One resampler for each channel: any number of channels, and no layout is asked for.
        machines = [
            av.AudioResampler(format="fltp", layout="mono", rate=RATE)
            for _ in range(2 if self._mix is not None else self.channels)
        ]
        for run in self._steady():
            yield _through(machines, run, self.rate)
        yield _through(machines, None, self.rate)

    def _steady(self) -> Iterator[Samples]:
        """Samples at the track's own rate, end to end, from `_EDGE` before to `_EDGE` after."""
        cursor = -_EDGE * self.rate
        end = math.ceil(Fraction(self.count, RATE) * self.rate) + _EDGE * self.rate
        first = True
        for time, run in self._decoded():
            place = cursor if time is None else round((time - self.start) * self.rate)
            if not first and abs(place - cursor) <= _JITTER * self.rate:
                place = cursor
            first = False
            if place >= end or cursor >= end:
                break
            yield from self._silence(place - cursor)
            cursor = max(cursor, place)
            fresh = run[:, cursor - place :]  # what went before is not said twice
            if fresh.shape[1]:
                yield self._mixed(fresh)
                cursor += fresh.shape[1]
        yield from self._silence(end - cursor)

    def _silence(self, count: int) -> Iterator[Samples]:
        channels = 2 if self._mix is not None else self.channels
        while count > 0:
            part = min(count, self.rate)
            yield np.zeros((channels, part), np.float32)
            count -= part

    def _mixed(self, run: Samples) -> Samples:
        return run if self._mix is None else (self._mix @ run).astype(np.float32)

    def _decoded(self) -> Iterator[tuple[Fraction | None, Samples]]:
        """Each decoded frame with its time on the clip's clock; damaged packets are left out."""
        with open_clip(self.clip) as container:
            stream = _audio(container, self.index)
            channels = stream.codec_context.channels
            early = self.start - 2 * _EDGE
            if early > _SEEK_FROM and stream.time_base is not None:
                container.seek(int(early / stream.time_base), stream=stream, backward=True)
            for packet in container.demux(stream):
                try:
                    frames = packet.decode()
                except av.error.FFmpegError:  # AAC answers damage with more than one kind
                    self.damaged += 1
                    continue
                for frame in frames:
                    run = as_float(frame.to_ndarray(), channels, planar=frame.format.is_planar)
                    time = None if frame.pts is None else frame.pts * Fraction(frame.time_base)
                    yield time, run


def as_float(values: npt.NDArray[Any], channels: int, *, planar: bool) -> Samples:
    """Return decoded samples as (channels, n) floats with full scale at ±1."""
    rows = values if planar else values.reshape(-1, channels).T
    if values.dtype == np.uint8:
        return (rows.astype(np.float32) - 128.0) / 128.0
    if values.dtype.kind == "i":
        return rows.astype(np.float32) / np.float32(2.0 ** (8 * values.dtype.itemsize - 1))
    return rows.astype(np.float32, copy=False)


def _through(machines: list[av.AudioResampler], run: Samples | None, rate: int) -> Samples:
    """Send a run (None: what is left inside) through one resampler for each channel."""
    out = []
    for channel, machine in enumerate(machines):
        frame = None
        if run is not None:
            row = np.ascontiguousarray(run[channel : channel + 1])
            frame = av.AudioFrame.from_ndarray(row, format="fltp", layout="mono")
            frame.sample_rate = rate
        parts = [part.to_ndarray() for part in machine.resample(frame)]
        out.append(np.concatenate(parts, axis=1)[0] if parts else np.zeros(0, np.float32))
    return np.stack(out)


def _audio(container: av.container.InputContainer, index: int) -> Any:
    """The audio stream with that number in the file."""
    return next(stream for stream in container.streams.audio if stream.index == index)
