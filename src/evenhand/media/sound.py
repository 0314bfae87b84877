"""The sound of a master: which tracks, taken over or made anew, in step with the picture.

Time zero of a master is the moment its first frame was shown on the clip's clock; sound before it
is left out, and silence fills what is missing, so that sound and picture are equally long.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import msgspec
import numpy as np

from evenhand.media.files import open_clip
from evenhand.media.records import AudioTrack
from evenhand.media.samples import BLOCK, RATE, Samples, TrackSamples
from evenhand.media.spec import Sound

AAC_FRAME = 1024
_PCM_BITS = 24


@dataclass(frozen=True, slots=True)
class SoundPlan:
    """The tracks of a clip that a master carries.

    `start` is the presentation time of the master's first frame in seconds on the clip's clock,
    `duration` the length of the picture in seconds. `gain` in dB is put on every track; one that is
    not 0 means coding anew, and what then goes beyond full scale is clipped.
    """

    sound: Sound
    clip: Path
    tracks: tuple[AudioTrack, ...]
    start: Fraction
    duration: Fraction
    gain: float = 0.0

    @property
    def mixed(self) -> bool:
        """Whether tracks of more than two channels become two."""
        return self.sound.codec == "aac" or self.sound.tracks == "default"

    @property
    def expected(self) -> tuple[tuple[str, int], ...]:
        """Codec and number of channels of each track of the master, taken over or made anew."""
        codec = "pcm_s24le" if self.sound.codec == "pcm" else "aac"
        return tuple((codec, min(t.channels, 2) if self.mixed else t.channels) for t in self.tracks)


class SoundTrack(msgspec.Struct, frozen=True):
    """What became of one track. `damaged` counts packets that silence stands in for."""

    index: int
    how: str  # "copied" or "encoded"
    codec: str
    channels: int
    damaged: int


def plan_sound(
    sound: Sound,
    clip: Path,
    tracks: tuple[AudioTrack, ...],
    start: Fraction,
    duration: Fraction,
) -> SoundPlan | None:
    """Choose the tracks: the default one, or all of them where the spec says so; None for none."""
    if not tracks:
        return None
    if sound.tracks == "default":
        tracks = (next((track for track in tracks if track.default), tracks[0]),)
    return SoundPlan(sound, clip, tracks, start, duration)


def sound_writer(plan: SoundPlan, track: AudioTrack, out: Any) -> CopiedTrack | EncodedTrack:
    """Add a track to an output container that is not started yet, and return who writes it.

    Packets are taken over as they are where the spec allows it, the codec and rate are right, and
    the track is whole from the first frame to the last.
    """
    if plan.sound.copy and plan.gain == 0 and _can_copy(plan, track):
        return CopiedTrack(plan, track, out)
    return EncodedTrack(plan, track, out)


class CopiedTrack:
    """Takes the packets of a track over, moved so that `start` becomes zero.

    One packet before the start goes along, because AAC needs it to decode the first; its negative
    time becomes an edit that hides it.
    """

    def __init__(self, plan: SoundPlan, track: AudioTrack, out: Any) -> None:
        self._out = out
        self._clip = open_clip(plan.clip)
        self._input = _stream(self._clip, track.index)
        self.stream = out.add_stream_from_template(self._input)
        self._packets = self._moved(plan)
        self._next = next(self._packets, None)
        context = self._input.codec_context
        self.report = SoundTrack(track.index, "copied", context.name, context.channels, 0)

    def advance(self, until: Fraction | None) -> None:
        """Mux what starts before `until` seconds; all that is left for None."""
        base = self._input.time_base
        while self._next is not None and (until is None or self._next.pts * base < until):
            self._out.mux(self._next)
            self._next = next(self._packets, None)

    def close(self) -> None:
        """Let go of the clip."""
        self._clip.close()

    def _moved(self, plan: SoundPlan) -> Iterator[Any]:
        base = self._input.time_base
        low = round(plan.start / base)
        high = round((plan.start + plan.duration) / base)
        lead_in = low - round(Fraction(AAC_FRAME, RATE) / base)
        for packet in self._clip.demux(self._input):
            if packet.dts is None or packet.pts + packet.duration <= lead_in:
                continue
            if packet.pts >= high:
                return
            packet.pts -= low
            packet.dts -= low
            packet.stream = self.stream
            yield packet


class EncodedTrack:
    """Decodes a track, brings it to 48 kHz and to the picture's length, and encodes it."""

    def __init__(self, plan: SoundPlan, track: AudioTrack, out: Any) -> None:
        sound = plan.sound
        self._samples = TrackSamples(
            plan.clip, track.index, plan.start, plan.duration, stereo=plan.mixed
        )
        self._out = out
        self._pcm = sound.codec == "pcm"
        self._index = track.index
        self._layout = {1: "mono", 2: "stereo"}.get(self._samples.channels, self._samples.layout)
        self.stream = out.add_stream("pcm_s24le" if self._pcm else "aac", rate=RATE)
        self.stream.codec_context.layout = self._layout
        if not self._pcm:
            self.stream.codec_context.bit_rate = sound.bit_rate
        self._blocks = self._samples.blocks()
        self._factor = np.float32(10 ** (plan.gain / 20))
        self._written = 0

    @property
    def report(self) -> SoundTrack:
        """What became of the track; complete after `advance(None)`."""
        samples = self._samples
        codec = "pcm_s24le" if self._pcm else "aac"
        return SoundTrack(self._index, "encoded", codec, samples.channels, samples.damaged)

    def advance(self, until: Fraction | None) -> None:
        """Encode and mux the sound before `until` seconds; all that is left for None."""
        while until is None or self._written < until * RATE:
            block = next(self._blocks, None)
            if block is None:
                break
            frame = self._frame(block * self._factor)
            frame.pts = self._written
            frame.time_base = Fraction(1, RATE)
            self._written += block.shape[1]
            self._out.mux(self.stream.encode(frame))
        if until is None:
            self._out.mux(self.stream.encode(None))

    def close(self) -> None:
        """Let go of the clip."""
        self._blocks.close()  # type: ignore[attr-defined]

    def _frame(self, block: Samples) -> av.AudioFrame:
        if self._pcm:
            frame = av.AudioFrame.from_ndarray(as_24_bits(block), "s32", self._layout)
        else:
            data = np.ascontiguousarray(block)
            frame = av.AudioFrame.from_ndarray(data, "fltp", self._layout)
        frame.sample_rate = RATE
        return frame


def as_24_bits(block: Samples) -> Any:
    """Return (1, n·channels) samples of 24 bits in the upper part of 32, channels side by side."""
    top = 2 ** (_PCM_BITS - 1)
    codes = np.clip(np.rint(block.astype(np.float64) * top), -top, top - 1).astype(np.int32)
    return np.ascontiguousarray(codes.T.reshape(1, -1) << (32 - _PCM_BITS))


def longest_overrun(codec: str) -> int:
    """Return by how many samples a track of that codec may be longer than the picture."""
    return AAC_FRAME if codec == "aac" else 0


def _can_copy(plan: SoundPlan, track: AudioTrack) -> bool:
    """Whether the packets of a track serve as they are: right codec, whole, and long enough."""
    right = track.codec == plan.sound.codec == "aac" and track.rate == RATE
    if not right or track.channels > 2:
        return False
    with open_clip(plan.clip) as clip:
        stream = _stream(clip, track.index)
        if stream.profile not in ("LC", None) or stream.time_base is None:
            return False
        return _whole(clip, stream, plan)


def _whole(clip: Any, stream: Any, plan: SoundPlan) -> bool:
    """Whether every packet from the first frame to the last decodes, end to end in time."""
    base = stream.time_base
    begin, end = plan.start, plan.start + plan.duration
    first: Fraction | None = None
    reached: Fraction | None = None
    for packet in clip.demux(stream):
        if packet.dts is None:
            break
        time = packet.pts * base
        if reached is not None and time >= end:
            break
        if reached is not None and abs(time - reached) > base:
            return False
        first = time if first is None else first
        reached = time + packet.duration * base
        try:
            packet.decode()
        except av.error.FFmpegError:  # AAC answers damage with more than one kind
            return False
    if first is None or reached is None:
        return False
    return first <= begin and reached > end - Fraction(BLOCK, RATE)


def _stream(clip: Any, index: int) -> Any:
    return next(stream for stream in clip.streams.audio if stream.index == index)
