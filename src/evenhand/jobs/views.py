"""What levelling measures of one clip, remembered so that it is measured once.

Kept is what decisions are made from. The frames themselves are not: they are decoded again where
two clips have to be compared that were not compared before.
"""

from __future__ import annotations

import zlib
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import overload

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.grade.document import Steadying
from evenhand.grade.exact import scene_light_image
from evenhand.grade.steadying import changes_nothing
from evenhand.jobs.charts import CHART_LONGEST, chart_in
from evenhand.jobs.steadying import SteadyingFinding, find_steadying
from evenhand.measure.clipview import ClipView, PictureNumbers, picture_numbers
from evenhand.measure.decisions import ChartSample, Proposal
from evenhand.measure.ends import clip_level, ends_over_time
from evenhand.measure.findings import Findings
from evenhand.measure.mixedlight import mixed_light
from evenhand.measure.noise import grey_noise
from evenhand.measure.scenes import is_monochrome, scene_change
from evenhand.measure.summary import Summary, summarise
from evenhand.measure.views import AnalysisFrame, Features, features
from evenhand.measure.whites import off_neutral
from evenhand.media.analysis import LONGEST, seconds_of, signal_of
from evenhand.media.decode import sample
from evenhand.media.records import ClipFacts
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading, digest

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)  # of a clip's length: where it is looked at
FLOOR = 0.004  # scene light under which a pixel is noise and does not vote
DETAIL = 960  # pixels a side of the middle of a frame that noise is measured on
IN_MEMORY = 48  # clips whose frames are held at once: 8 MB each
_FIRST_CAMERA = 631_152_000.0  # 1990: an earlier date is a clock that was never set

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


@dataclass(frozen=True, slots=True)
class Looked:
    """A clip as it was looked at: for matching, its chart, and what is told of it by itself.

    `steadying` is what was taken out before anything else was measured, where there is anything.
    """

    source: Source
    view: ClipView
    chart: ChartSample | None
    findings: Findings
    steadying: Steadying | None


class _Kept(msgspec.Struct, frozen=True, kw_only=True):
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


class _KeptChart(msgspec.Struct, frozen=True):
    chart: ChartSample | None


CLIP = Reading("clip", 4, _Kept, ("evenhand.jobs.views:Looker",))
CHART = Reading("chart", 4, _KeptChart, ("evenhand.jobs.charts:chart_in",))
LIGHT = Reading("light", 4, SteadyingFinding, ("evenhand.jobs.steadying:find_steadying",))


class Looker:
    """Looks at clips, and remembers what is small for good, and the latest frames in memory."""

    def __init__(self, measurements: Measurements) -> None:
        self._measurements = measurements
        self._frames: OrderedDict[str, tuple[Features, ...]] = OrderedDict()

    def look(self, source: Source) -> Looked:
        """Everything of one clip. Raises ClipError where it cannot be decoded."""
        database, mark, key = self._measurements, source.fingerprint, source.key
        kept, chart = CLIP.recall(database, mark, key), CHART.recall(database, mark, key)
        wants_chart = source.use_charts and chart is None
        if kept is None or wants_chart:
            shot = Shots(source, wants_chart, kept.steadying if kept else None)
            if kept is None:
                kept, shot = self._measured(source, shot)
                CLIP.keep(database, mark, kept, key)
            if wants_chart:
                found = chart_in(source.id, shot.large, source.encoding, kept.clip_level)
                chart = _KeptChart(found)
                CHART.keep(database, mark, chart, key)
        return self._looked(source, kept, chart.chart if chart and source.use_charts else None)

    def _measured(self, source: Source, recorded: Shots) -> tuple[_Kept, Shots]:
        """Measures a clip as recorded; returns its frames steadied, where its light changes."""
        encoding = source.encoding
        level = clip_level([signal for _, signal in recorded.small], encoding)
        light = self._light(source, level) if source.steady else None
        steadying = light.steadying if light is not None else None
        steady = recorded
        if not changes_nothing(steadying):
            steady = Shots(source, bool(recorded.large), steadying)
        shown = _analysis(steady.small, encoding, level)
        seen = tuple(features(frame) for frame in shown)
        self._remember(source, seen)
        summary = summarise(seen)
        colours = None if summary.colours is None else zlib.compress(summary.colours.tobytes(), 1)
        kept = _Kept(
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
        return kept, steady

    def _light(self, source: Source, level: float) -> SteadyingFinding:
        """What the clip's light does while it runs; this needs many of its frames."""
        return LIGHT.of(
            self._measurements,
            source.fingerprint,
            lambda: find_steadying(source.path, source.facts, source.encoding, level),
            source.encoding,
            level,
        )

    def _looked(self, source: Source, kept: _Kept, chart: ChartSample | None) -> Looked:
        colours = None
        if kept.colours is not None:
            flat = np.frombuffer(zlib.decompress(kept.colours), np.float64)
            colours = flat.reshape(round(len(flat) ** 0.5), -1)
        summary = Summary(
            colours,
            np.array(kept.tones),
            kept.white,
            np.frombuffer(kept.descriptors, np.uint8).reshape(-1, 128),
        )
        numbers = kept.numbers
        if chart is not None:
            numbers = PictureNumbers(
                numbers.clipped,
                numbers.crushed,
                numbers.middle,
                numbers.seconds,
                numbers.off_neutral,
                chart=True,
            )
            chart = msgspec.structs.replace(chart, clip=source.id)
        view = ClipView(
            id=source.id,
            created=created(source.facts),
            order=source.order,
            encoding=source.encoding,
            features=_Lazy(lambda: self._features(source, kept), kept.frames),
            numbers=numbers,
            summary=summary,
        )
        return Looked(source, view, chart, kept.findings, kept.steadying)

    def _features(self, source: Source, kept: _Kept) -> tuple[Features, ...]:
        """The features of a clip's frames, decoded again where they are no longer held."""
        if source.id not in self._frames:
            shot = Shots(source, large=False, steadying=kept.steadying)
            shown = _analysis(shot.small, source.encoding, kept.clip_level)
            self._remember(source, tuple(features(frame) for frame in shown))
        self._frames.move_to_end(source.id)
        return self._frames[source.id]

    def _remember(self, source: Source, seen: tuple[Features, ...]) -> None:
        self._frames[source.id] = seen
        while len(self._frames) > IN_MEMORY:
            self._frames.popitem(last=False)


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


class _Lazy(Sequence[Features]):
    """Features that are made when they are first looked into."""

    def __init__(self, load: Callable[[], Sequence[Features]], count: int) -> None:
        self._load, self._count = load, count

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, place: int) -> Features: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[Features]: ...
    def __getitem__(self, place: int | slice) -> Features | Sequence[Features]:
        return self._load()[place]


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


def created(facts: ClipFacts) -> float | None:
    """When a clip was made, in seconds of any one clock; None where its clock was never set."""
    if not facts.created:
        return None
    try:
        found = datetime.fromisoformat(facts.created.replace("Z", "+00:00")).timestamp()
    except ValueError:
        return None
    return found if found >= _FIRST_CAMERA else None
