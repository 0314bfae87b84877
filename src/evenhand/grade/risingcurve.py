"""A rising curve through scattered pairs: medians, put in order, joined without overshoot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array

_BINS: Final = 17
_LEAST: Final = 6  # pairs in a bin: fewer are noise


@dataclass(frozen=True, slots=True, eq=False)
class RisingCurve:
    """A curve on 0..1 that never falls: cubic pieces between knots (Fritsch and Carlson, 1980)."""

    x: Array
    y: Array
    slopes: Array

    def __call__(self, values: Array) -> Array:
        inside = np.clip(values, self.x[0], self.x[-1])
        k = np.clip(np.searchsorted(self.x, inside, side="right") - 1, 0, len(self.x) - 2)
        width = self.x[k + 1] - self.x[k]
        t = (inside - self.x[k]) / width
        low, high = self.y[k], self.y[k + 1]
        start, end = self.slopes[k] * width, self.slopes[k + 1] * width
        cubic = t * t * (3.0 - 2.0 * t)
        bends = t * (1.0 - t) * (start * (1.0 - t) - end * t)
        result: Array = low + (high - low) * cubic + bends
        return result


def through(x: Array, y: Array) -> RisingCurve:
    """The curve through knots whose x rises and whose y does not fall."""
    width, rise = np.diff(x), np.diff(y)
    secant = rise / width
    slopes = np.zeros(len(x))
    for k in range(1, len(x) - 1):
        before, after = secant[k - 1], secant[k]
        if before > 0.0 and after > 0.0:
            # The weighted harmonic mean of Fritsch and Butland (1984): it cannot overshoot.
            first, second = 2.0 * width[k] + width[k - 1], width[k] + 2.0 * width[k - 1]
            slopes[k] = (first + second) / (first / before + second / after)
    slopes[0], slopes[-1] = secant[0], secant[-1]
    return RisingCurve(x, y, slopes)


def rising_curve(before: Array, after: Array, weight: Array) -> RisingCurve:
    """The curve from `before` (n,) to `after` (n,), both 0..1.

    The weighted median of each of 17 bins, made rising by pooling neighbours that are not; beyond
    the outermost bins it goes on with a slope of 1.
    """
    bins = np.minimum((before * _BINS).astype(np.int64), _BINS - 1)
    knots = []
    for k in range(_BINS):
        here = bins == k
        if here.sum() >= _LEAST:
            knots.append(
                (
                    weighted_median(before[here], weight[here]),
                    weighted_median(after[here], weight[here]),
                    float(weight[here].sum()),
                )
            )
    if not knots:
        return through(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    x, y, w = (np.array(column) for column in zip(*knots, strict=True))
    y = pooled(y, w)
    ends_x = np.concatenate([[0.0], x, [1.0]])
    ends_y = np.concatenate([[max(0.0, y[0] - x[0])], y, [min(1.0, y[-1] + 1.0 - x[-1])]])
    keep = np.concatenate([[True], np.diff(ends_x) > 1e-6])
    return through(ends_x[keep], np.maximum.accumulate(ends_y[keep]))


def pooled(y: Array, weight: Array) -> Array:
    """The rising values nearest to `y` by weighted squares (pooled adjacent violators)."""
    blocks: list[list[float]] = []
    for value, w in zip(y, weight, strict=True):
        blocks.append([float(value), float(w), 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            last, first = blocks.pop(), blocks.pop()
            whole = first[1] + last[1]
            mean = (first[0] * first[1] + last[0] * last[1]) / whole
            blocks.append([mean, whole, first[2] + last[2]])
    return np.concatenate([np.full(int(count), value) for value, _, count in blocks])


def weighted_median(values: Array, weight: Array) -> float:
    """The value that half of the weight lies below."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    return float(values[order[np.searchsorted(reached, reached[-1] / 2.0)]])
