"""The robust ratio of the light that two views have in common, and how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.overlap import CELLS, LEAST_SAMPLES, Samples
from evenhand.measure.twolights import Split, two_lights

Floats = NDArray[np.float64]

DARK_STOPS, DARK_MIRED = 0.02, 3.0  # errors at the floor; they fall with the square above it
TONED = 0.08  # stops per stop; from here on the ratio is not one gain
MIDDLE_TONES = 2.5  # stops about the middle tone that then count


@dataclass(frozen=True, slots=True)
class Estimate:
    """The robust ratio of b to a, as log2 cone gains, with how well the samples agree.

    `spread` is the scale of the samples' departures in stops (any channel), `support` the share of
    samples that took part, `tone` the change of the ratio in stops per stop of light, `hue` the
    mireds by which a neutral would differ if the ratio's change with colour went on to it,
    `stops_error` and `mired_error` standard errors found from the parts of the overlap. With two
    lights (`split`), all of it is of the larger one.
    """

    gains: Floats
    spread: float
    support: float
    tone: float
    hue: float
    stops_error: float
    mired_error: float
    split: Split | None


def robust_ratio(samples: Samples) -> Estimate:
    """The CAT16 gains that take a to b: Tukey's biweight on the log ratio of all three channels.

    A sample's weight comes from its worst channel, so that a surface that changed in colour alone
    takes no part. The gains are fitted, not the channel ratios: scenes need not be neutral. Where
    the ratio changes with the light (one of the two was toned for a display), the gains are those
    at the middle tone of what both show, found by a line over the tones around it.
    """
    first, second = samples.a.astype(np.float64), samples.b.astype(np.float64)
    level = 0.5 * (np.log2(first) + np.log2(second))
    level -= np.median(level[:, 1])
    fit = _fitted(first, second, level, toned=False)
    cell = samples.cell
    logs = np.log2(np.stack([first[:, 1], second[:, 1]], axis=1))
    split = two_lights(fit.left - fit.tone * level, logs, cell, CELLS)
    if split is not None and split.larger.sum() >= LEAST_SAMPLES // 2:
        keep = split.larger
        first, second, level, cell = first[keep], second[keep], level[keep], cell[keep]
        fit = _fitted(first, second, level, toned=False)
    if abs(fit.tone) > TONED:
        middle = np.abs(level[:, 1]) < MIDDLE_TONES
        if middle.sum() >= LEAST_SAMPLES:
            first, second, level, cell = first[middle], second[middle], level[middle], cell[middle]
        fit = _fitted(first, second, level, toned=True)
    stops_error, mired_error = _errors(cell, fit)
    stops_error = float(np.hypot(stops_error, DARK_STOPS / samples.brightness**2))
    mired_error = float(np.hypot(mired_error, DARK_MIRED / samples.brightness**2))
    if abs(fit.tone) > TONED:  # another tone, a third of a stop off, would do as well (judgement)
        stops_error = float(np.hypot(stops_error, 0.3 * fit.tone))
        white = 0.15 * fit.tone * ratios.mired_size(fit.gains)
        mired_error = float(np.hypot(mired_error, white))
    support = float((fit.weight > 0).mean())
    hue = _hue(0.5 * (np.log2(first) + np.log2(second)), fit)
    return Estimate(
        fit.gains,
        fit.spread,
        support,
        fit.tone,
        hue,
        stops_error,
        mired_error,
        split,
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    """Gains, the stops (n, 3) that the samples still differ by, their weights, spread and tone."""

    gains: Floats
    left: Floats
    weight: Floats
    spread: float
    tone: float


def _share_of_one(off: Floats, share: Floats, cell: NDArray[np.intp]) -> Floats:
    """How much of the parts' variance stays in their mean: 1 / the number of independent parts.

    Parts that lie side by side err together (a vignette, light that moved): with a correlation r of
    neighbours, n parts in a plane count as n ((1 − r) / (1 + r))² (Cressie 1993, Statistics for
    Spatial Data, 1.3, for a line; squared for the two directions). Two at least count. off: (k, 2)
    stops and mired of the parts.
    """
    field = np.full((CELLS * CELLS, 2), np.nan)
    field[cell] = off
    grid = field.reshape(CELLS, CELLS, 2)
    pairs = np.concatenate(
        [(grid[1:] * grid[:-1]).reshape(-1, 2), (grid[:, 1:] * grid[:, :-1]).reshape(-1, 2)]
    )
    pairs = pairs[np.isfinite(pairs).all(axis=1)]
    power = np.maximum(share @ off**2, 1e-12)
    if len(pairs) < 3:
        return np.full(2, min(2 * float(share @ share), 0.5))
    alike = np.clip(pairs.mean(axis=0) / power, 0.0, 0.9)
    independent: Floats = (share @ share) * ((1 + alike) / (1 - alike)) ** 2
    return np.minimum(independent, 0.5)


def _fitted(first: Floats, second: Floats, level: Floats, toned: bool) -> _Fit:
    target = np.log2(second)
    gains = ratios.gains_of(np.exp2(np.median(target - np.log2(first), axis=0)))
    left = _left(first, target, gains)
    gains = _moved(gains, np.median(left, axis=0))
    weight, spread, tone = np.ones(len(first)), 0.0, 0.0
    for _ in range(10 if toned else 5):
        left = _left(first, target, gains) - tone * level
        spread = max(1.4826 * float(np.median(np.abs(left))), 0.02)
        worst = np.abs(left).max(axis=1)
        weight = np.maximum(1 - (worst / min(4.7 * spread, 0.6)) ** 2, 0) ** 2
        if weight.sum() < 10:
            weight = np.ones(len(first))
        share = weight / weight.sum()
        step = _slope(level, left, share) if toned else 0.0
        tone += step
        gains = _moved(gains, np.einsum("i,ij->j", share, left - step * level))
    if not toned:
        tone = _slope(level, left, weight / weight.sum())
    return _Fit(gains, left, weight, spread, tone)


def _slope(level: Floats, left: Floats, share: Floats) -> float:
    """Stops of ratio per stop of light, the same in the three channels."""
    level = level - np.einsum("i,ij->j", share, level)
    across = float(np.einsum("i,ij,ij->", share, level, level))
    return float(np.einsum("i,ij,ij->", share, level, left)) / across if across > 1e-3 else 0.0


def _hue(logs: Floats, fit: _Fit) -> float:
    """Mireds between the gains of the colours that were seen and those of a neutral.

    A line through what is left over of R/G and B/G against the samples' own R/G and B/G: where two
    cameras filter light differently, coloured things have another ratio than grey ones.
    """
    share = fit.weight / fit.weight.sum()
    colour, left = (x[:, [0, 2]] - x[:, 1:2] for x in (logs, fit.left))
    middle = share @ colour
    colour = colour - middle
    power = np.einsum("i,ij,ik->jk", share, colour, colour) + 0.01 * np.eye(2)
    slope = np.linalg.solve(power, np.einsum("i,ij,ik->jk", share, colour, left))
    red, blue = -middle @ slope
    return ratios.mired_size(_moved(fit.gains, np.array([red, 0.0, blue])) - fit.gains)


def _left(first: Floats, target: Floats, gains: Floats) -> Floats:
    """Stops by which the samples still differ, per channel, once `first` has the gains."""
    turned = cv2.transform(first[:, None], ratios.matrix_of(gains))[:, 0]
    left: Floats = target - np.log2(np.maximum(turned, 1e-6))
    return left


def _moved(gains: Floats, stops: Floats) -> Floats:
    """The gains whose neutral ratio is larger by so many stops in each channel."""
    return ratios.gains_of(ratios.ratio_of(gains) * np.exp2(stops))


def _errors(cell: NDArray[np.intp], fit: _Fit) -> tuple[float, float]:
    """Standard errors of stops and mired from how the parts of the overlap disagree."""
    left, weight, gains = fit.left, fit.weight, fit.gains
    total = np.bincount(cell, weight, CELLS * CELLS)
    used = total > 0.1 * total.max()
    share = total[used] / total[used].sum()
    means = np.stack(
        [np.bincount(cell, weight * left[:, k], CELLS * CELLS)[used] for k in range(3)], axis=1
    )
    means /= total[used][:, None]
    if len(share) < 3:
        return 0.1, 10.0
    stops, mired = (means @ axis for axis in _axes(gains))
    off = np.stack([stops - share @ stops, mired - share @ mired], axis=1)
    variance = share @ off**2 * _share_of_one(off, share, np.flatnonzero(used))
    return float(np.sqrt(variance[0])), float(np.sqrt(variance[1]))


def _axes(gains: Floats) -> tuple[Floats, Floats]:
    """What a stop more in each channel (3,) does to the stops and the mired of the gains."""
    step = 0.01
    at = ratios.difference_of(gains)
    moved = [ratios.difference_of(_moved(gains, row)) for row in step * np.eye(3)]
    stops = np.array([(m.stops - at.stops) / step for m in moved])
    return stops, np.array([(m.mired - at.mired) / step for m in moved])
