"""The measured difference of two clips, from frames that show the same things.

Key points → MAGSAC homography → robust ratio over the common light → gates. Every answer is a
record with its numbers and its reasons; a difference is only given where the gates let it through.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.confidence import of_match, sureness
from evenhand.measure.decisions import Match, Triple
from evenhand.measure.overlap import Samples, common_light
from evenhand.measure.robust import TONED, Estimate, robust_ratio
from evenhand.measure.views import Features, Registration, register, similar
from evenhand.reasons import Reason, Why, because

# Most of the overlap has to have one ratio, whatever the key points say.
SUPPORT, SPREAD, COVERAGE = 0.40, 0.50, 0.004
# Enough key points agree, or fewer do and the detail of the two views is the same.
INLIERS, INLIER_RATIO = 25, 0.40
FEW_INLIERS, LOW_RATIO, LIKENESS, LITTLE_SPREAD = 12, 0.25, 0.50, 0.35
UNEVEN = 0.06  # stops of spread from which dense flow is tried
# Never surer than this: what is left where the camera's white fault is not CAT16's kind.
LEAST_STOPS_ERROR, LEAST_MIRED_ERROR = 0.004, 0.4
BEST_PAIRS = 5  # pairs of frames that are measured for a pair of clips
FEW = 300  # strongest key points, which tell which frames these are


def match(a: Features, b: Features) -> Match:
    """Compares two frames; never raises, whatever they show.

    The homography is tried first. Where that leaves the overlap uneven (parallax, people moving),
    dense flow is tried too, and the one with the smaller error stands.
    """
    times = (a.time, b.time)
    view = register(a, b)
    if view is None:
        return Match(False, (because("match.too-few-points"),), times=times)
    plain = _measured(a, b, view, flow=False)
    found = plain
    if plain is None or not plain.accepted or plain.spread > UNEVEN:
        followed = _measured(a, b, view, flow=True)
        found = min((m for m in (plain, followed) if m), key=_doubt, default=None)
    if found is None:
        return Match(
            False,
            (because("match.too-little-light"),),
            inliers=view.inliers,
            inlier_ratio=view.ratio,
            times=times,
        )
    return msgspec.structs.replace(found, times=times)


def remeasure(a: Features, b: Features, known: Match) -> Match | None:
    """Measures a known common view again, after the light of the frames was changed.

    Key points do not depend on the light, so the view is the same one; only the ratio is new. None
    where too little light is left to measure.
    """
    view = register(a, b)
    return _measured(a, b, view, known.flow) if view else None


def _doubt(found: Match) -> tuple[bool, float]:
    return not found.accepted, of_match(found).size


def _measured(a: Features, b: Features, view: Registration, flow: bool) -> Match | None:
    samples = common_light(a, b, view, flow)
    if samples is None:
        return None
    found = _record(robust_ratio(samples), samples, view, flow)
    reason = refusal(found)
    why = (reason,) if reason else _agreement(found)
    return msgspec.structs.replace(found, accepted=reason is None, why=why)


def _record(estimate: Estimate, samples: Samples, view: Registration, flow: bool) -> Match:
    difference = ratios.difference_of(estimate.gains)
    return Match(
        accepted=False,
        why=(),
        stops=difference.stops,
        mired=difference.mired,
        duv=difference.duv,
        ratio=_triple(ratios.ratio_of(estimate.gains)),
        gains=_triple(estimate.gains),
        stops_error=float(np.hypot(estimate.stops_error, LEAST_STOPS_ERROR)),
        mired_error=float(np.hypot(estimate.mired_error, LEAST_MIRED_ERROR)),
        spread=estimate.spread,
        support=estimate.support,
        inliers=view.inliers,
        inlier_ratio=view.ratio,
        coverage=samples.coverage,
        likeness=samples.likeness,
        tone=estimate.tone,
        hue=estimate.hue,
        homography=tuple(float(v) for v in view.homography.ravel()),
        flow=flow,
        second=estimate.split.difference if estimate.split else None,
        second_share=estimate.split.share if estimate.split else 0.0,
    )


def _triple(values: NDArray[np.float64]) -> Triple:
    return (float(values[0]), float(values[1]), float(values[2]))


def refusal(found: Match) -> Reason | None:
    """Why the gates refuse a match; None where they let it through."""
    if found.support < SUPPORT:
        return because("match.several-ratios", support=found.support, limit=SUPPORT)
    if found.spread > SPREAD:
        return because("match.uneven", spread=found.spread)
    if found.coverage < COVERAGE:
        return because("match.small-view", coverage=found.coverage)
    if found.inliers >= INLIERS and found.inlier_ratio >= INLIER_RATIO:
        return None
    alike = found.likeness >= LIKENESS and found.spread <= LITTLE_SPREAD
    if alike and found.inliers >= FEW_INLIERS and found.inlier_ratio >= LOW_RATIO:
        return None
    return because(
        "match.few-points",
        points=found.inliers,
        share=found.inlier_ratio,
        likeness=max(found.likeness, 0.0),
    )


def _agreement(found: Match) -> Why:
    agree = because(
        "match.points-agree",
        points=found.inliers,
        coverage=found.coverage,
        support=found.support,
        spread=found.spread,
    )
    toned = (because("match.toned", tone=found.tone),) if abs(found.tone) > TONED else ()
    if found.second is None:
        return (agree, *toned)
    second = found.second
    lights = because(
        "match.two-lights", share=found.second_share, stops=second.stops, mired=second.mired
    )
    return (agree, *toned, lights)


def match_clips(a: Sequence[Features], b: Sequence[Features]) -> Match:
    """Compares two clips by the frames that look most alike.

    The answer is the weighted median over the accepted pairs of frames; how far these lie apart (a
    clip may drift) is part of its error. Without an accepted pair it is the best refused one.
    """
    pairs = [(len(similar(x, y, FEW)), i, j) for i, x in enumerate(a) for j, y in enumerate(b)]
    if not pairs:
        return Match(False, (because("match.no-frame"),))
    pairs.sort(key=lambda p: (-p[0], abs(p[1] - p[2]), p[1]))
    tried = [match(a[i], b[j]) for i, j in _best_pairs(pairs)]
    accepted = [m for m in tried if m.accepted]
    return _middle(accepted) if accepted else max(tried, key=lambda m: m.inliers)


def _best_pairs(pairs: Sequence[tuple[int, int, int]]) -> list[tuple[int, int]]:
    """The pairs that look most alike, each frame in one of them, so that a flicker averages out."""
    best: list[tuple[int, int]] = []
    for count, i, j in pairs:
        free = all(i != x and j != y for x, y in best)
        if free and (not best or count >= max(4, pairs[0][0] // 4)):
            best.append((i, j))
    return best[:BEST_PAIRS]


def _middle(found: Sequence[Match]) -> Match:
    """The weighted median of several matches of one pair of clips."""
    best = min(found, key=_doubt)
    if len(found) == 1:
        return best
    weights = np.array([m.stops_error**-2 for m in found])
    gains = np.array([m.gains for m in found])
    middle = np.array([_weighted_median(column, weights) for column in gains.T])
    difference = ratios.difference_of(middle)
    apart = max(abs(m.stops - difference.stops) for m in found) / 2
    mired_apart = max(abs(m.mired - difference.mired) for m in found) / 2
    return msgspec.structs.replace(
        best,
        stops=difference.stops,
        mired=difference.mired,
        duv=difference.duv,
        gains=_triple(middle),
        ratio=_triple(ratios.ratio_of(middle)),
        stops_error=float(np.hypot(best.stops_error, apart)),
        mired_error=float(np.hypot(best.mired_error, mired_apart)),
    )


def _weighted_median(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    below = np.cumsum(weights[order]) - weights[order] / 2
    return float(np.interp(weights.sum() / 2, below, values[order]))


def confidence(found: Match) -> float:
    """How probable it is that the clip ends within 0.1 stop and 5 mired by this match alone."""
    return sureness(of_match(found)) if found.accepted else 0.0
