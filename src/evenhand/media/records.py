"""What was read from a clip's container and bitstream: plain facts, no verdicts."""

from __future__ import annotations

import msgspec

from evenhand.reasons import Why


class ColourTags(msgspec.Struct, frozen=True):
    """H.273 code points; 2 is unspecified. `full_range` is None where nothing says so."""

    primaries: int = 2
    transfer: int = 2
    matrix: int = 2
    full_range: bool | None = None


class AudioTrack(msgspec.Struct, frozen=True):
    """One audio stream. `start` is its first presentation time in seconds on the clip's clock."""

    index: int
    codec: str
    rate: int
    channels: int
    layout: str
    duration: float
    start: float
    default: bool


class ClipFacts(msgspec.Struct, frozen=True):
    """Everything identification and mastering need to know of one file.

    Sizes are in pixels as coded; `shown_size` is after rotation and pixel aspect. `times` are the
    presentation times of the frames that are there and are shown (edit list applied), rising, in
    `time_base` ticks. Rates and aspects are rationals written "25/1"; rotation is the clockwise
    degrees needed to show the picture upright, and `mirrored` asks for a flip left to right then.
    `constant_rate` allows each frame a tenth of a frame of jitter around the grid of `rate`.
    """

    path: str
    bytes: int
    container: str
    codec: str
    profile: str
    pixel_format: str
    bits: int
    chroma: str  # "4:2:0", "4:2:2", "4:4:4"
    width: int
    height: int
    shown_size: tuple[int, int]
    frames: int
    frames_promised: int  # what the container's index says; more than `frames` if cut short
    hidden_frames: int  # coded but hidden by an edit list
    time_base: str
    times: tuple[int, ...]
    rate: str  # nominal: exact if constant, else the mean
    constant_rate: bool
    longest_gap: float  # seconds between neighbouring frames
    duration: float  # seconds, last frame included
    rotation: int
    mirrored: bool
    pixel_aspect: str
    timecode: str | None
    created: str | None
    audio: tuple[AudioTrack, ...]
    container_tags: ColourTags
    bitstream_tags: ColourTags
    vendor: dict[str, str]  # vendor metadata by suffix: make, model, software; never places
    damage: Why  # empty for a whole clip
    log_hints: dict[str, str] = {}  # metadata that speaks of log or a curve, by suffix
