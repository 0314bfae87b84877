"""Two lights in one picture: a part of the common view changed otherwise than the rest.

A lamp was switched on, a cloud passed over one half, a blind was drawn. The ratio of two clips then
has two values, each in a place of its own, and no exposure or white makes both parts alike. It is
told, and the clip is levelled to the larger part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.decisions import Difference

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FULL_CELL, FEWEST_CELLS = 24, 8  # samples in a part of the picture, and parts, that can tell
EVEN_CELL = 0.25  # stops; a part that differs more within shows other things, not another light
LEAST_SHARE = 0.12  # of the samples: the smaller light
LEAST_STOPS, LEAST_MIRED = 0.15, 8.0
# Ashman, Bird and Zepf 1994: above 2 two heaps are apart. A slope of light from end to end, cut in
# the middle, has 3.5, so more is asked for.
LEAST_APART = 5.0
LEAST_TOGETHER = 0.75  # of neighbouring parts have the same light
LEAST_DETAIL = 0.7  # correlation of the detail within the smaller light: the same things are there


@dataclass(frozen=True, slots=True)
class Split:
    """Two lights: `larger` marks the samples (n,) of the larger one.

    `share` is that of the smaller one among all samples, `difference` how the smaller one differs
    from the larger one in the second clip, beyond what the whole picture does.
    """

    larger: Mask
    share: float
    difference: Difference


def two_lights(left: Floats, logs: Floats, cell: NDArray[np.intp], across: int) -> Split | None:
    """Two lights among the samples of a common view, or None where there is one, or no telling.

    left: stops (n, 3) by which the second view still differs from the first; logs: log2 green of
    both views (n, 2); cell: the part of the picture of each sample, of `across` × `across`.
    """
    cells = _cells(left, cell, across * across)
    if len(cells.number) < FEWEST_CELLS:
        return None
    along = _principal(cells)
    threshold = _otsu(along, cells.count)
    second = along > threshold
    if cells.count[second].sum() > cells.count[~second].sum():
        second = ~second
    share = float(cells.count[second].sum() / cells.count.sum())
    if share < LEAST_SHARE or not _apart(along, second, cells.count):
        return None
    if _together(cells.number, second, across) < LEAST_TOGETHER:
        return None
    small = np.isin(cell, cells.number[second])
    difference = _difference(cells, second)
    size = abs(difference.stops) / LEAST_STOPS, abs(difference.mired) / LEAST_MIRED
    if max(size) < 1 or _detail(logs[small], cell[small]) < LEAST_DETAIL:
        return None
    return Split(np.isin(cell, cells.number[~second]), share, difference)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Parts of the picture that can tell: their numbers, medians (k, 3) and samples."""

    number: NDArray[np.intp]
    median: Floats
    count: Floats


def _cells(left: Floats, cell: NDArray[np.intp], most: int) -> _Cells:
    order = np.argsort(cell, kind="stable")
    starts = np.searchsorted(cell[order], np.arange(most + 1))
    number, median, count = [], [], []
    for n in range(most):
        inside = left[order[starts[n] : starts[n + 1]]]
        if len(inside) < FULL_CELL:
            continue
        middle = np.median(inside, axis=0)
        if 1.4826 * np.median(np.abs(inside - middle)) > EVEN_CELL:
            continue
        number.append(n)
        median.append(middle)
        count.append(len(inside))
    return _Cells(
        np.array(number, np.intp), np.array(median).reshape(-1, 3), np.array(count, np.float64)
    )


def _principal(cells: _Cells) -> Floats:
    """The parts along the direction in which they differ most."""
    off = cells.median - np.average(cells.median, axis=0, weights=cells.count)
    _, axes = np.linalg.eigh(np.einsum("i,ij,ik->jk", cells.count, off, off))
    along: Floats = off @ axes[:, -1]
    return along


def _otsu(values: Floats, weight: Floats) -> float:
    """The threshold that leaves the least variance in two heaps (Otsu 1979)."""
    order = np.argsort(values)
    v, w = values[order], weight[order]
    below, total = np.cumsum(w)[:-1], w.sum()
    mass = np.cumsum(w * v)[:-1]
    between = (mass * total - below * (w @ v)) ** 2 / (below * (total - below))
    best = int(np.argmax(between))
    return float((v[best] + v[best + 1]) / 2)


def _apart(along: Floats, second: Mask, weight: Floats) -> bool:
    middle, variance = [], []
    for side in (second, ~second):
        mean = np.average(along[side], weights=weight[side])
        middle.append(mean)
        variance.append(np.average((along[side] - mean) ** 2, weights=weight[side]))
    width = float(np.sqrt(max(sum(variance), 1e-6)))
    return bool(float(np.sqrt(2)) * abs(middle[0] - middle[1]) / width > LEAST_APART)


def _together(number: NDArray[np.intp], second: Mask, across: int) -> float:
    """The share of neighbouring parts, one of them at least in the smaller light, of one light."""
    grid = np.full((across, across), np.nan)
    grid.ravel()[number] = second
    pairs = [(grid[1:], grid[:-1]), (grid[:, 1:], grid[:, :-1])]
    both = np.concatenate([np.stack([a.ravel(), b.ravel()], axis=1) for a, b in pairs])
    both = both[np.isfinite(both).all(axis=1)]
    return float((both[:, 0] == both[:, 1]).mean()) if len(both) else 0.0


def _difference(cells: _Cells, second: Mask) -> Difference:
    small, large = (
        np.average(cells.median[side], axis=0, weights=cells.count[side])
        for side in (second, ~second)
    )
    return ratios.difference_of(ratios.gains_of(np.exp2(small - large)))


def _detail(logs: Floats, cell: NDArray[np.intp]) -> float:
    """Correlation (−1..1) of the two views within the parts of the picture."""
    count = np.maximum(np.bincount(cell), 1)
    a, b = (v - (np.bincount(cell, v) / count)[cell] for v in logs.T)
    energy = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / energy if energy > 0 else 0.0
