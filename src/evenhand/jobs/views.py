"""Looking at the clips of a shoot: what is small is remembered, what is large held for a while.

Kept is what decisions are made from. The frames themselves are not: they are decoded again where
two clips have to be compared that were not compared before.
"""

from __future__ import annotations

import zlib
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import overload

import msgspec
import numpy as np

from evenhand.children import Pool, Task
from evenhand.errors import EvenhandError
from evenhand.grade.document import Steadying
from evenhand.jobs.hands import limits
from evenhand.jobs.looking import (
    CHART,
    CLIP,
    KeptChart,
    KeptClip,
    Source,
    features_again,
    looked_at,
)
from evenhand.measure.clipview import ClipView, PictureNumbers
from evenhand.measure.decisions import ChartSample
from evenhand.measure.findings import Findings
from evenhand.measure.summary import Summary
from evenhand.measure.views import Features
from evenhand.media.records import ClipFacts
from evenhand.shoot.measurements import Measurements

IN_MEMORY = 48  # clips whose frames are held at once: 8 MB each
_FIRST_CAMERA = 631_152_000.0  # 1990: an earlier date is a clock that was never set


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


class Looker:
    """Looks at clips in child processes, and remembers. `lost`: clips whose frames went since."""

    def __init__(self, measurements: Measurements, pool: Pool) -> None:
        self._measurements, self._pool = measurements, pool
        self._frames: OrderedDict[str, tuple[Features, ...]] = OrderedDict()
        self.lost: dict[str, EvenhandError] = {}

    def look(self, sources: Sequence[Source]) -> Iterator[tuple[Source, Looked | EvenhandError]]:
        """Everything of these clips as it comes, or what went wrong with one."""
        charts: dict[str, KeptChart | None] = {}
        tasks = []
        for source in sources:
            mark, key = source.fingerprint, source.key
            kept = CLIP.recall(self._measurements, mark, key)
            chart = charts[source.id] = CHART.recall(self._measurements, mark, key)
            wants_chart = source.use_charts and chart is None
            if kept is not None and not wants_chart:
                yield source, self._looked(source, kept, chart)
                continue
            arguments = (source, kept, wants_chart)
            tasks.append(Task(source, str(source.path), looked_at, arguments, limits(source.facts)))
        for outcome in self._pool.run(tasks):
            source = outcome.key
            if outcome.error is not None:
                yield source, outcome.error
                continue
            sight = outcome.got()
            chart = sight.chart or charts[source.id]
            self._remember(source, sight.features)
            kinds: dict[str, object] = {CLIP.kind(source.key): sight.kept}
            kinds |= {CHART.kind(source.key): chart} if chart is not None else {}
            self._measurements.keep_all(source.fingerprint, kinds)
            yield source, self._looked(source, sight.kept, chart)

    def _looked(self, source: Source, kept: KeptClip, found: KeptChart | None) -> Looked:
        chart: ChartSample | None = found.chart if found and source.use_charts else None
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

    def _features(self, source: Source, kept: KeptClip) -> tuple[Features, ...]:
        """The features of a clip's frames, decoded again where they are no longer held."""
        if source.id not in self._frames:
            try:
                again = (source, kept.steadying, kept.clip_level)
                self._remember(source, self._pool.call(str(source.path), features_again, *again))
            except EvenhandError as error:
                self.lost[source.id] = error
                raise
        self._frames.move_to_end(source.id)
        return self._frames[source.id]

    def _remember(self, source: Source, seen: tuple[Features, ...]) -> None:
        self._frames[source.id] = seen
        while len(self._frames) > IN_MEMORY:
            self._frames.popitem(last=False)


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


def created(facts: ClipFacts) -> float | None:
    """When a clip was made, in seconds of any one clock; None where its clock was never set."""
    if not facts.created:
        return None
    try:
        found = datetime.fromisoformat(facts.created.replace("Z", "+00:00")).timestamp()
    except ValueError:
        return None
    return found if found >= _FIRST_CAMERA else None
