"""How alike the clips of a place are before and after levelling, and how true that came out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.clipview import ClipView
from evenhand.measure.decisions import (
    Difference,
    Evenness,
    EvennessPoint,
    LevelDecision,
    Link,
    Match,
    Residual,
    Spread,
)
from evenhand.measure.matching import FEW, remeasure
from evenhand.measure.views import Features, similar

Floats = NDArray[np.float64]

OUTLIER_STOPS, OUTLIER_MIRED = 0.05, 5.0
OTHER_PAIRS = 2  # pairs of frames that the levelled clips are measured on
_NONE = Difference(0.0, 0.0, 0.0)


def evenness(
    decisions: Sequence[LevelDecision], clips: Mapping[str, ClipView], links: Sequence[Link]
) -> Evenness:
    """Measures one place after its decisions: each match again, over the corrected light.

    Where it can, it takes other pairs of frames than the match was made from: the same pair would
    only say that the arithmetic was right. decisions: all those of one place. Clips that nothing
    connects to the reference get points without figures.
    """
    place, reference = decisions[0].place, decisions[0].reference
    by_clip = {d.clip: d for d in decisions}
    points = []
    for d in decisions:
        before = _NONE if d.clip == reference else d.difference
        after = _after(d, by_clip, clips, links)
        errors = (d.stops_error, d.mired_error)
        points.append(EvennessPoint(d.clip, d.status, before, after, *errors))
    others = [p for p in points if p.clip != reference]
    return Evenness(
        place=place,
        reference=reference,
        clips=tuple(points),
        before=_spread([p.before for p in others]),
        after=_spread([p.after for p in others]),
        outlier=_outlier(others),
    )


def _after(
    decision: LevelDecision,
    by_clip: Mapping[str, LevelDecision],
    clips: Mapping[str, ClipView],
    links: Sequence[Link],
) -> Difference | None:
    """What is left of the clip's difference from the reference, along its chain of matches."""
    if decision.clip == decision.reference:
        return _NONE
    if decision.difference is None:
        return None
    total = np.zeros(3)
    for here, there in pairwise((decision.reference, *decision.via, decision.clip)):
        step = _step(by_clip[here], by_clip[there], clips, links)
        if step is None:
            return None
        total += step
    return ratios.difference_of(total)


def _step(
    here: LevelDecision,
    there: LevelDecision,
    clips: Mapping[str, ClipView],
    links: Sequence[Link],
) -> Floats | None:
    """log2 cone gains from `here` to `there`, both corrected, measured anew."""
    for link in links:
        if {link.a, link.b} != {here.clip, there.clip} or not link.match.accepted:
            continue
        sign = 1.0 if link.a == here.clip else -1.0
        decided = (here, there) if sign > 0 else (there, here)
        found = _measured(clips[link.a], clips[link.b], link.match, decided)
        return None if found is None else sign * found
    return None


def _measured(
    a: ClipView, b: ClipView, match: Match, decided: tuple[LevelDecision, LevelDecision]
) -> Floats | None:
    """log2 cone gains of b over a, both corrected, on frames that the match was not made from."""
    used = (_at(a, match.times[0]).time, _at(b, match.times[1]).time)
    pairs = [
        (len(similar(x, y, FEW)), -abs(i - k), i, k)
        for i, x in enumerate(a.features)
        for k, y in enumerate(b.features)
        if (x.time, y.time) != used
    ]
    others = [(a.features[i], b.features[k]) for _, _, i, k in sorted(pairs, reverse=True)]
    found = []
    for x, y in others[:OTHER_PAIRS]:
        again = _remeasured(x, y, match, decided)
        found += [np.array(again.gains)] if again is not None and again.accepted else []
    if found:
        return np.asarray(np.mean(found, axis=0))
    same = _remeasured(_at(a, match.times[0]), _at(b, match.times[1]), match, decided)
    return np.array(same.gains) if same else None


def _at(clip: ClipView, time: float) -> Features:
    return min(clip.features, key=lambda f: abs(f.time - time))


def _remeasured(
    a: Features, b: Features, match: Match, decisions: tuple[LevelDecision, LevelDecision]
) -> Match | None:
    return remeasure(corrected(a, decisions[0]), corrected(b, decisions[1]), match)


def corrected(frame: Features, decision: LevelDecision) -> Features:
    """The frame with its light as the decision's exposure and white make it."""
    gains = ratios.levelling_gains(decision.stops, decision.white)
    light = cv2.transform(frame.light.astype(np.float32), ratios.matrix_of(gains))
    return replace(
        frame,
        light=np.clip(light, 0, 6e4).astype(np.float16),
        floor=frame.floor * float(np.exp2(decision.stops)),
    )


def _spread(found: Sequence[Difference | None]) -> Spread | None:
    known = [d for d in found if d is not None]
    if not known:
        return None
    stops, mired = [abs(d.stops) for d in known], [abs(d.mired) for d in known]
    return Spread(max(stops), max(mired), _rms(stops), _rms(mired))


def _rms(values: Sequence[float]) -> float:
    return math.sqrt(sum(v * v for v in values) / len(values))


def _outlier(points: Sequence[EvennessPoint]) -> str | None:
    """The clip farthest from the reference after levelling, if it can be seen to be."""
    known = [(p, p.after) for p in points if p.after is not None]
    if not known:
        return None
    worst, after = max(known, key=lambda k: _size(k[1]))
    return worst.clip if _size(after) > 1 else None


def _size(difference: Difference) -> float:
    return max(abs(difference.stops) / OUTLIER_STOPS, abs(difference.mired) / OUTLIER_MIRED)


def score(decisions: Sequence[LevelDecision], truth: Mapping[str, Any]) -> tuple[Residual, ...]:
    """What is left of known faults, clip by clip, relative to the reference of its place.

    truth: {"clips": [{"file", "fault_matrix_bt2020", …}]}, where a clean neutral x is recorded as
    fault_matrix_bt2020 @ x (linear BT.2020). A clip is found by its file name, with or without
    suffix. Clips without a truth are left out.
    """
    faults = _faults(truth)
    by_clip = {d.clip: d for d in decisions}
    residuals = []
    for d in decisions:
        reference = by_clip.get(d.reference)
        if reference is None or d.clip not in faults or d.reference not in faults:
            continue
        before = _neutral_ratio(faults[d.clip], faults[d.reference])
        own = ratios.matrix_of(ratios.levelling_gains(d.stops, d.white))
        theirs = ratios.matrix_of(ratios.levelling_gains(reference.stops, reference.white))
        after = _neutral_ratio(own @ faults[d.clip], theirs @ faults[d.reference])
        residuals.append(Residual(d.clip, d.place, d.status, before, after))
    return tuple(residuals)


def _faults(truth: Mapping[str, Any]) -> dict[str, Floats]:
    faults = {}
    for clip in truth["clips"]:
        matrix = np.array(clip["fault_matrix_bt2020"], dtype=np.float64)
        faults[clip["file"]] = matrix
        faults[clip["file"].rpartition(".")[0]] = matrix
    return faults


def _neutral_ratio(clip: Floats, reference: Floats) -> Difference:
    """How a neutral of the scene differs between two pictures."""
    white = np.ones(3)
    return ratios.difference_of(ratios.gains_of((clip @ white) / (reference @ white)))
