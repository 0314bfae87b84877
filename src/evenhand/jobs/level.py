"""Levelling a shoot: setups, reference clips, exposure and white, each with its numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.errors import UsageError
from evenhand.grade.document import Levelling
from evenhand.grade.exact import scene_light_image
from evenhand.jobs.charts import CHART_LONGEST, chart_in
from evenhand.jobs.originals import original_and_facts
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.measure.decisions import (
    ChartSample,
    Evenness,
    GreySample,
    LevelDecision,
    Link,
    Setup,
)
from evenhand.measure.ends import clip_code
from evenhand.measure.evenness import evenness
from evenhand.measure.levelling import grey_refusal, level_setup
from evenhand.measure.scopes import LEVEL_PERCENT, measure_scopes
from evenhand.measure.setups import ClipView, find_links, group, picture_numbers
from evenhand.measure.views import AnalysisFrame, features
from evenhand.media.analysis import LONGEST, signal_at, sized_signals
from evenhand.media.records import ClipFacts
from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry, GreyEntry, SetupEntry, Shoot

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)  # of a clip's length: where it is looked at
FLOOR = 0.004  # scene light under which a pixel is noise and does not vote
GREY_BOX = 0.012  # of the picture's width: the side of a grey sample


@dataclass(frozen=True, slots=True)
class GreyPoint:
    """Where a grey card is: seconds from the first frame, fractions of the upright picture."""

    clip: str
    time: Fraction
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class LevelOptions:
    """What a person says about levelling; everything else is measured.

    `keep_warmth` is the share 0..1 of the light's warmth that stays where a chart or a grey card
    sets the white; without `use_charts` no chart is looked for. `greys` come beside those pointed
    at before, one a clip, unless `forget_greys`.
    """

    references: tuple[str, ...] = ()
    setup: str | None = None
    setup_clips: tuple[str, ...] = ()
    greys: tuple[GreyPoint, ...] = ()
    dry_run: bool = False
    use_charts: bool = True
    keep_warmth: float = 0.0
    forget_greys: bool = False


class LevelResult(msgspec.Struct, frozen=True):
    """Setups, decisions and evenness.

    `left_out` are clips whose encoding is not settled, `greys_refused` the grey cards that were
    not used, each with its reason.
    """

    setups: tuple[Setup, ...]
    decisions: tuple[LevelDecision, ...]
    evenness: tuple[Evenness, ...]
    left_out: tuple[str, ...]
    saved: bool
    greys_refused: tuple[str, ...] = ()


def level(folder: Path, options: LevelOptions, progress: Progress = silent) -> LevelResult:
    """Level all clips of a shoot whose encoding is settled, and save unless it is a dry run.

    Raises UsageError for clips that do not exist, grey points outside the picture, and a share of
    warmth that is none.
    """
    if not 0 <= options.keep_warmth <= 1:
        share = f"{options.keep_warmth:.0%}"
        raise UsageError("--keep-warmth", f"{share} is not a share", "Write 0% to 100%")
    shoot = store.load(folder)
    named, references = _persons_word(shoot, options)
    settled = [clip for clip in shoot.readable() if clip.encoding is not None]
    views: dict[str, ClipView] = {}
    charts: list[ChartSample] = []
    for number, clip in enumerate(settled, 1):
        progress(Step("level", clip.id, number, len(settled)))
        views[clip.id], chart = _view(folder, shoot, clip, number, options.use_charts)
        charts += [chart] if chart is not None else []
    points = _pointed_at(shoot, options)
    greys = [_grey(folder, shoot, point) for point in points]
    progress(Step("match", "all clips", 1, 1))
    links = find_links(list(views.values()))
    setups = group(list(views.values()), links, named, references)
    decisions = [
        decision
        for setup in setups
        for decision in level_setup(setup, views, links, greys, charts, options.keep_warmth)
    ]
    even = _evenness(setups, decisions, views, links)
    if not options.dry_run:
        decided = _decided(store.load(folder), setups, decisions, even)
        kept = tuple(GreyEntry(p.clip, str(p.time), p.x, p.y) for p in points)
        store.save(folder, msgspec.structs.replace(decided, greys=kept))
    return LevelResult(
        setups=setups,
        decisions=tuple(decisions),
        evenness=even,
        left_out=tuple(c.id for c in shoot.readable() if c.encoding is None),
        saved=not options.dry_run,
        greys_refused=tuple(f"{g.clip}: {grey_refusal(g)}" for g in greys if grey_refusal(g)),
    )


def _pointed_at(shoot: Shoot, options: LevelOptions) -> list[GreyPoint]:
    """Grey cards that a person pointed at, now or before; the later word on a clip counts."""
    points = {
        g.clip: GreyPoint(g.clip, Fraction(g.seconds), g.x, g.y)
        for g in shoot.greys
        if not options.forget_greys and any(c.id == g.clip for c in shoot.clips)
    }
    for point in options.greys:
        clip = shoot.clip(point.clip).id
        points[clip] = GreyPoint(clip, point.time, point.x, point.y)
    return list(points.values())


def _persons_word(
    shoot: Shoot, options: LevelOptions
) -> tuple[dict[str, tuple[str, ...]], tuple[str, ...]]:
    """Setups and references that a person named, now or before."""
    named = {s.name: s.clips for s in shoot.setups if s.by == "person"}
    if options.setup is not None:
        if not options.setup_clips:
            raise UsageError("--setup", "no clip is named", "Write --setup NAME CLIP…")
        chosen = tuple(shoot.clip(name).id for name in options.setup_clips)
        named = {
            name: tuple(c for c in clips if c not in chosen) for name, clips in named.items()
        } | {options.setup: chosen}
    references = tuple(shoot.clip(name).id for name in options.references)
    kept = tuple(s.reference for s in shoot.setups if s.reference_by == "person")
    return {name: clips for name, clips in named.items() if clips}, references + kept


def _view(
    folder: Path, shoot: Shoot, clip: ClipEntry, order: int, use_charts: bool
) -> tuple[ClipView, ChartSample | None]:
    assert clip.encoding is not None
    path, facts = original_and_facts(folder, shoot, clip)
    longest = CHART_LONGEST if use_charts else LONGEST
    sizes = sized_signals(path, facts, clip.encoding, SHARES, (LONGEST, longest))
    signals = [(time, small) for time, (small, _) in sizes]
    clip_level = _clip_level([signal for _, signal in signals], clip.encoding)
    frames = [
        AnalysisFrame(
            signal=signal,
            light=scene_light_image(signal, clip.encoding),
            clip_level=clip_level,
            floor=FLOOR,
            time=time,
        )
        for time, signal in signals
    ]
    chart = None
    if use_charts:
        large = [(time, signal) for time, (_, signal) in sizes]
        chart = chart_in(clip.id, large, clip.encoding, clip_level)
    view = ClipView(
        id=clip.id,
        created=_seconds(facts),
        order=order,
        encoding=clip.encoding,
        features=tuple(features(frame) for frame in frames),
        numbers=picture_numbers(frames, facts.duration),
    )
    return view, chart


def _clip_level(signals: Sequence[NDArray[np.float32]], encoding: Encoding) -> float:
    """The signal above which a pixel is clipped: the spike of the histogram, or the end of it."""
    matrix = encoding.matrix if encoding.matrix in ("bt709", "bt2020") else "bt709"
    pooled = sum(measure_scopes(s, matrix).histogram.astype(np.int64) for s in signals)
    code = clip_code(np.asarray(pooled))
    return 1.0 if code is None else float(LEVEL_PERCENT[code]) / 100.0


def _seconds(facts: ClipFacts) -> float | None:
    if not facts.created:
        return None
    try:
        return datetime.fromisoformat(facts.created.replace("Z", "+00:00")).timestamp()
    except ValueError:
        return None


def _grey(folder: Path, shoot: Shoot, point: GreyPoint) -> GreySample:
    clip = shoot.clip(point.clip)
    encoding = shoot.grade(clip).encoding
    if not (0 <= point.x <= 1 and 0 <= point.y <= 1):
        raise UsageError(
            "--grey",
            f"{point.x:g},{point.y:g} is outside the picture",
            "Write fractions of width and height from the top left, such as 0.45,0.60",
        )
    path, facts = original_and_facts(folder, shoot, clip)
    signal = signal_at(path, facts, encoding, point.time)
    height, width = signal.shape[:2]
    half = max(2, round(GREY_BOX * width / 2))
    x, y = round(point.x * (width - 1)), round(point.y * (height - 1))
    box = signal[max(y - half, 0) : y + half + 1, max(x - half, 0) : x + half + 1]
    light = scene_light_image(np.ascontiguousarray(box), encoding).reshape(-1, 3)
    median = np.median(light, axis=0)
    logs = np.log2(np.maximum(light[:, 1], 1e-5))
    spread = 1.4826 * float(np.median(np.abs(logs - np.median(logs))))
    clipped = bool((box.max(axis=-1) >= 0.98).mean() > 0.01)
    r, g, b = (float(v) for v in median)
    return GreySample(clip.id, (r, g, b), spread, clipped)


def _evenness(
    setups: Sequence[Setup],
    decisions: Sequence[LevelDecision],
    views: Mapping[str, ClipView],
    links: Sequence[Link],
) -> tuple[Evenness, ...]:
    return tuple(
        evenness([d for d in decisions if d.setup == setup.name], views, links) for setup in setups
    )


def _decided(
    shoot: Shoot,
    setups: Sequence[Setup],
    decisions: Sequence[LevelDecision],
    even: Sequence[Evenness],
) -> Shoot:
    """The document with what was decided in it."""
    by_clip = {d.clip: d for d in decisions}
    changed = []
    for clip in shoot.clips:
        decision = by_clip.get(clip.id)
        if decision is not None:
            levelling = Levelling(decision.stops, decision.white)
            changed.append(
                msgspec.structs.replace(
                    clip, setup=decision.setup, levelling=levelling, decision=decision
                )
            )
    entries = tuple(
        SetupEntry(
            name=setup.name,
            clips=setup.clips,
            reference=setup.reference,
            why_reference=setup.why_reference,
            by="person" if any(m.how == "named" for m in setup.members) else "measurement",
            reference_by="person" if setup.why_reference == "chosen by hand" else "measurement",
            members=setup.members,
            evenness=record,
        )
        for setup, record in zip(setups, even, strict=True)
    )
    return msgspec.structs.replace(shoot.with_clips(*changed), setups=entries)
