"""Looking at one clip in a child process: everything that levelling measures of it by itself."""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.grade.document import Steadying
from evenhand.grade.exact import scene_light_image
from evenhand.grade.steadying import changes_nothing
from evenhand.jobs.charts import CHART_LONGEST, chart_in
from evenhand.jobs.steadying import find_steadying
from evenhand.measure.clipview import PictureNumbers, picture_numbers
from evenhand.measure.decisions import ChartSample, Proposal
from evenhand.measure.ends import clip_level, ends_over_time
from evenhand.measure.findings import Findings
from evenhand.measure.mixedlight import mixed_light
from evenhand.measure.noise import grey_noise
from evenhand.measure.scenes import is_monochrome, scene_change
from evenhand.measure.summary import summarise
from evenhand.measure.views import AnalysisFrame, Features, features
from evenhand.measure.whites import off_neutral
from evenhand.media.analysis import LONGEST, seconds_of, signal_of
from evenhand.media.decode import sample
from evenhand.media.records import ClipFacts
from evenhand.shoot.reading import Reading, digest

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)  # of a clip's length: where it is looked at
FLOOR = 0.004  # scene light under which a pixel is noise and does not vote
DETAIL = 960  # pixels a side of the middle of a frame that noise is measured on

Signal = NDArray[np.float32]
Frames = list[tuple[float, Signal]]


@dataclass(frozen=True, slots=True)
class Source:
    """A clip to be measured: where it is, what it is, and what is wanted."""

    id: str
    order: int
    path: Path
    facts: ClipFacts
    fingerprint: str
    encoding: Encoding
    use_charts: bool
    steady: bool

    @property
    def key(self) -> str:
        """What its measurements depend on, apart from its file."""
        return digest(self.encoding, self.steady)


class KeptClip(msgspec.Struct, frozen=True, kw_only=True):
    """What the cache holds of a clip; arrays as bytes."""

    frames: int
    numbers: PictureNumbers
    clip_level: float
    findings: Findings
    tones: list[float]
    colours: bytes | None
    white: Proposal | None
    descriptors: bytes
    steadying: Steadying | None


class KeptChart(msgspec.Struct, frozen=True):
    chart: ChartSample | None


CLIP = Reading("clip", 4, KeptClip, ("evenhand.jobs.looking:looked_at",))
CHART = Reading("chart", 4, KeptChart, ("evenhand.jobs.charts:chart_in",))


@dataclass(frozen=True, slots=True)
class Sight:
    """What looking at a clip gave: records to keep, and the features of its frames."""

    kept: KeptClip
    chart: KeptChart | None
    features: tuple[Features, ...]


def looked_at(source: Source, kept: KeptClip | None, wants_chart: bool) -> Sight:
    """Everything of one clip; `kept` is what is known of it, where a chart alone is looked for.

    Raises ClipError where it cannot be decoded.
    """
    shots = Shots(source, wants_chart, kept.steadying if kept else None)
    if kept is None:
        kept, shots, seen = _measured(source, shots)
    else:
        seen = _features(source, shots, kept.clip_level)
    chart = None
    if wants_chart:
        chart = KeptChart(chart_in(source.id, shots.large, source.encoding, kept.clip_level))
    return Sight(kept, chart, seen)


def features_again(
    source: Source, steadying: Steadying | None, level: float
) -> tuple[Features, ...]:
    """The features of frames that are held no longer. Raises ClipError as decoding does."""
    return _features(source, Shots(source, large=False, steadying=steadying), level)


def _measured(source: Source, recorded: Shots) -> tuple[KeptClip, Shots, tuple[Features, ...]]:
    """Measures a clip as recorded; returns its frames steadied too, where its light changes."""
    encoding = source.encoding
    level = clip_level([signal for _, signal in recorded.small], encoding)
    light = None
    if source.steady:
        light = find_steadying(source.path, source.facts, encoding, level)
    steadying = light.steadying if light is not None else None
    steady = recorded
    if not changes_nothing(steadying):
        steady = Shots(source, bool(recorded.large), steadying)
    shown = _analysis(steady.small, encoding, level)
    seen = tuple(features(frame) for frame in shown)
    summary = summarise(seen)
    colours = None if summary.colours is None else zlib.compress(summary.colours.tobytes(), 1)
    kept = KeptClip(
        frames=len(seen),
        numbers=picture_numbers(shown, source.facts.duration, off_neutral(seen)),
        clip_level=level,
        findings=Findings(
            ends=ends_over_time(recorded.small, encoding),
            noise=grey_noise(recorded.detail, encoding),
            mixed=mixed_light(seen),
            change=scene_change(seen),
            monochrome=is_monochrome(seen),
            drift=light.drift if light is not None else None,
            flicker=light.flicker if light is not None else None,
        ),
        tones=summary.tones.tolist(),
        colours=colours,
        white=summary.white,
        descriptors=summary.descriptors.tobytes(),
        steadying=steadying,
    )
    return kept, steady, seen


def _features(source: Source, shots: Shots, level: float) -> tuple[Features, ...]:
    return tuple(features(frame) for frame in _analysis(shots.small, source.encoding, level))


class Shots:
    """A clip's sampled frames, decoded once: small, large for charts, and the middle in detail."""

    def __init__(self, source: Source, large: bool, steadying: Steadying | None = None) -> None:
        facts, encoding = source.facts, source.encoding
        self.small: Frames = []
        self.large: Frames = []
        self.detail: Signal = np.zeros((0, 0, 3), np.float32)
        for number, frame in enumerate(sample(source.path, facts, SHARES)):
            time = seconds_of(frame, facts)
            self.small.append((time, signal_of(frame, facts, encoding, LONGEST, steadying)))
            if large:
                big = signal_of(frame, facts, encoding, CHART_LONGEST, steadying)
                self.large.append((time, big))
            if number == len(SHARES) // 2:
                self.detail = _middle(signal_of(frame, facts, encoding))


def _middle(signal: Signal) -> Signal:
    height, width = signal.shape[:2]
    top, left = max(height - DETAIL, 0) // 2, max(width - DETAIL, 0) // 2
    return np.ascontiguousarray(signal[top : top + DETAIL, left : left + DETAIL])


def _analysis(
    signals: Iterable[tuple[float, Signal]], encoding: Encoding, level: float
) -> list[AnalysisFrame]:
    return [
        AnalysisFrame(
            signal=signal,
            light=scene_light_image(signal, encoding),
            clip_level=level,
            floor=FLOOR,
            time=time,
        )
        for time, signal in signals
    ]
