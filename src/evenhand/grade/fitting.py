"""A look from a picture before and after it: a rising tone curve and a smooth table of the rest.

One sample for each colour cell that the pictures hold, so that a wall does not outweigh a face; a
monotone curve of tone on all channels; then, on a lattice of 17³, the displacements d that

    Σ w · huber(A(base + d) − after) + λ ‖D₂ d‖² / n³ + ε ‖d‖² / n³

makes least: A reads the lattice, D₂ are second differences along the axes (by the lattice's own
step, scaled to 17 nodes), λ = 1. What no sample is near goes back to the tone curve alone. The
whole is given on 33³. Nothing extrapolates well: `seen` says for how much of the cube there is
evidence at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.curves import Array
from evenhand.colourmath.difference import ciede2000, lab
from evenhand.errors import EvenhandError
from evenhand.grade.lattice import corners, tetrahedral
from evenhand.grade.risingcurve import RisingCurve, rising_curve
from evenhand.grade.uniform import GAMMA, chroma, signal_to_lab, smooth_step

SIZE: Final = 17
GIVEN: Final = 33
_CELLS: Final = 31
_LEAST_CELLS: Final = 60
_LOW, _HIGH = 2.0 / 1023.0, 1021.0 / 1023.0
_MOST_WEIGHT: Final = 200
_SMOOTHNESS: Final = 1.0
_STAY: Final = 1e-5
_ROUNDS: Final = 5
_STEPS: Final = 400
_ENOUGH: Final = 1e-4
_GREY_CHROMA: Final = 0.01
# Lattice steps from evidence over which the table goes back to tone alone.
_REACH: Final = 6
_LUMA = np.array([0.2126, 0.7152, 0.0722])


class FitError(EvenhandError):
    """Two pictures that no look can be fitted to."""


class Residual(msgspec.Struct, frozen=True, kw_only=True):
    """How far the fitted look is from what it was fitted to: CIEDE2000 over the colour cells."""

    median: float
    p95: float
    most: float
    untouched_median: float
    untouched_p95: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """A look as a table: `lattice` (33, 33, 33, 3) float64 of display signal, [b, g, r].

    `seen` is the share of the cube's colours that the pictures hold or border on. `mix` are the
    shares of red, green and blue light where the look is black and white, else None.
    """

    lattice: Array
    tone: RisingCurve
    seen: float
    cells: int
    residual: Residual
    mix: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Samples:
    before: Array  # (n, 3)
    after: Array
    weight: Array  # (n,), mean 1


def fit_pair(before: Array, after: Array, trust: Array | None = None) -> Fit:
    """The look between two registered pictures (..., 3) of display signal 0..1, pixel by pixel.

    `trust` (...) 0..1 is how much a pixel counts, all alike without it. Pixels that are NaN in
    either picture, or at an end of the scale in any channel, are left out.
    FitError where fewer than 60 colours are left: a look cannot be told from so few.
    """
    counts = np.ones(before.size // 3) if trust is None else trust.reshape(-1)
    samples = _samples(before.reshape(-1, 3), after.reshape(-1, 3), counts)
    if np.quantile(chroma(signal_to_lab(samples.after)), 0.9) < _GREY_CHROMA:
        return _fit_grey(samples)
    tone = rising_curve(samples.before @ _LUMA, samples.after @ _LUMA, samples.weight)
    rest = _displacements(samples, tone) * _near(samples.before)[..., None]
    axis = np.linspace(0.0, 1.0, GIVEN)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    lattice = np.clip(tone(np.stack([red, green, blue], axis=-1)) + _finer(rest), 0.0, 1.0)
    return _told(lattice, samples, tone, None)


def read(lattice: Array, signal: Array) -> Array:
    """A table of display signal at signal (n, 3), tetrahedrally."""
    place = np.clip(signal, 0.0, 1.0) * (len(lattice) - 1)
    return tetrahedral(lattice, place)


def _samples(before: Array, after: Array, trust: Array) -> _Samples:
    with np.errstate(invalid="ignore"):
        inside = ((before > _LOW) & (before < _HIGH) & (after > _LOW) & (after < _HIGH)).all(axis=1)
    inside &= trust > 0.0
    before, after, trust = before[inside], after[inside], trust[inside]
    key = (before * _CELLS).astype(np.int64) @ np.array([1, 32, 1024])
    _, cell = np.unique(key, return_inverse=True)
    count = np.bincount(cell, trust)
    if len(count) < _LEAST_CELLS:
        raise FitError(
            "the pair",
            f"it holds {len(count)} colours that are not clipped; {_LEAST_CELLS} are needed",
            "Use a frame with more in it, or one that is exposed within the scale",
        )
    means = [
        np.stack([np.bincount(cell, trust * part[:, k]) / count for k in range(3)], axis=1)
        for part in (before, after)
    ]
    weight = np.sqrt(np.minimum(count, _MOST_WEIGHT))
    return _Samples(means[0], means[1], weight / weight.mean())


def _displacements(samples: _Samples, tone: RisingCurve) -> Array:
    """What the lattice adds to the tone curve, (17, 17, 17, 3): weighted least squares, Huber."""
    index, share = corners(SIZE, samples.before * (SIZE - 1))
    axis = tone(np.linspace(0.0, 1.0, SIZE))
    base = np.stack(
        [np.broadcast_to(axis.reshape(shape), (SIZE,) * 3) for shape in _SHAPES], axis=-1
    ).reshape(-1, 3)
    missing = samples.after - _gathered(base, index, share)
    trust = np.ones(len(missing))
    found = np.zeros((SIZE**3, 3))
    for _ in range(_ROUNDS):
        weight = samples.weight * trust / len(missing)
        goal = _spread(weight[:, None] * missing, index, share)
        found = _solved(goal, found, weight, (index, share))
        off = np.linalg.norm(missing - _gathered(found, index, share), axis=1)
        scale = 1.4826 * np.median(off) + 1e-4
        trust = np.minimum(1.0, 2.0 * scale / np.maximum(off, 1e-9))
    return found.reshape(SIZE, SIZE, SIZE, 3)


# Where red, green and blue run in a lattice that is indexed [blue, green, red].
_SHAPES: Final = ((1, 1, SIZE), (1, SIZE, 1), (SIZE, 1, 1))
_Reading = tuple[NDArray[np.int64], Array]


def _gathered(nodes: Array, index: NDArray[np.int64], share: Array) -> Array:
    result: Array = (nodes[index] * share[..., None]).sum(axis=0)
    return result


def _spread(values: Array, index: NDArray[np.int64], share: Array) -> Array:
    columns = [
        np.bincount(index.ravel(), (share * values[:, k]).ravel(), SIZE**3) for k in range(3)
    ]
    return np.stack(columns, axis=1)


def _solved(goal: Array, start: Array, weight: Array, reading: _Reading) -> Array:
    """Conjugate gradients, the three channels side by side.

    Preconditioned by the exact inverse of the smoothness with the evidence spread evenly: a sum of
    one matrix along three axes, which its eigenvectors along each make diagonal.
    """
    index, share = reading

    def normal(x: Array) -> Array:
        seen = _spread(weight[:, None] * _gathered(x, index, share), index, share)
        return seen + (_SMOOTHNESS * _bending(x) + _STAY * x) / SIZE**3

    even = float(weight.sum())
    x = start.copy()
    rest = goal - normal(x)
    eased = _eased(rest, even)
    way = eased
    size = (rest * eased).sum(axis=0)
    enough = _ENOUGH**2 * np.maximum((goal * _eased(goal, even)).sum(axis=0), 1e-9)
    for _ in range(_STEPS):
        if (size <= enough).all():
            break
        along = normal(way)
        step = size / np.maximum((way * along).sum(axis=0), 1e-30)
        x += step * way
        rest -= step * along
        eased = _eased(rest, even)
        new = (rest * eased).sum(axis=0)
        way = eased + new / np.maximum(size, 1e-30) * way
        size = new
    return x


@cache
def _modes() -> tuple[Array, Array]:
    """Eigenvectors of a lattice axis' D₂ᵀ D₂, and the sums of its values over three axes."""
    second = np.diff(np.eye(SIZE), 2, axis=0)
    values, vectors = np.linalg.eigh(second.T @ second)
    sums = values[:, None, None] + values[None, :, None] + values[None, None, :]
    return vectors.astype(np.float64), np.maximum(sums, 0.0)


def _eased(rest: Array, even: float) -> Array:
    vectors, bends = _modes()
    scale = SIZE**3 / (_SMOOTHNESS * bends + _STAY + even)
    cube = rest.reshape(SIZE, SIZE, SIZE, 3)
    for axis in range(3):
        cube = np.moveaxis(np.tensordot(vectors.T, np.moveaxis(cube, axis, 0), 1), 0, axis)
    cube = cube * scale[..., None]
    for axis in range(3):
        cube = np.moveaxis(np.tensordot(vectors, np.moveaxis(cube, axis, 0), 1), 0, axis)
    return cube.reshape(-1, 3)


def _bending(nodes: Array) -> Array:
    """D₂ᵀ D₂ of the lattice: twice second differences along each axis."""
    cube = nodes.reshape(SIZE, SIZE, SIZE, 3)
    out = np.zeros_like(cube)
    for axis in range(3):
        rows = np.moveaxis(cube, axis, 0)
        second = rows[2:] - 2.0 * rows[1:-1] + rows[:-2]
        to = np.moveaxis(out, axis, 0)
        to[2:] += second
        to[1:-1] -= 2.0 * second
        to[:-2] += second
    return out.reshape(-1, 3)


def _near(before: Array) -> Array:
    """1 at lattice nodes that samples lean on and their neighbours, smoothly 0 far from any."""
    index, _ = corners(SIZE, before * (SIZE - 1))
    near = np.zeros(SIZE**3)
    near[index.ravel()] = 1.0
    mask = near.reshape(SIZE, SIZE, SIZE)
    steps = np.where(mask > 0.0, 0.0, np.inf)
    for ring in range(1, _REACH + 1):
        mask = _grown(mask)
        steps = np.where(np.isinf(steps) & (mask > 0.0), float(ring), steps)
    return 1.0 - smooth_step((np.minimum(steps, _REACH) - 1.0) / (_REACH - 1.0))


def _grown(mask: Array) -> Array:
    """Every node of a neighbour that is set, along the axes and across."""
    for axis in range(3):
        rows = np.moveaxis(mask, axis, 0)
        wide = rows.copy()
        wide[1:] = np.maximum(wide[1:], rows[:-1])
        wide[:-1] = np.maximum(wide[:-1], rows[1:])
        mask = np.moveaxis(wide, 0, axis)
    return mask


def _finer(lattice: Array) -> Array:
    """17³ to 33³: the nodes, and between them the cubic through the four nearest of an axis."""
    for axis in range(3):
        rows = np.moveaxis(lattice, axis, 0)
        # Beyond its ends the lattice runs straight on.
        ends = np.concatenate([2.0 * rows[:1] - rows[1:2], rows, 2.0 * rows[-1:] - rows[-2:-1]])
        middle = (9.0 * (ends[1:-2] + ends[2:-1]) - ends[:-3] - ends[3:]) / 16.0
        fine = np.empty((2 * len(rows) - 1, *rows.shape[1:]))
        fine[::2], fine[1::2] = rows, middle
        lattice = np.moveaxis(fine, 0, axis)
    return lattice


def _fit_grey(samples: _Samples) -> Fit:
    """Black and white: three shares of light and a curve instead of a table of everything."""
    light = samples.before**GAMMA
    shown = samples.after @ _LUMA
    best: tuple[float, tuple[float, float, float]] = (np.inf, (0.2126, 0.7152, 0.0722))
    centre, reach = np.array([0.33, 0.34, 0.33]), 10
    for step in (0.1, 0.025, 0.00625):
        for red in np.arange(-reach, reach + 1) * step + centre[0]:
            for green in np.arange(-reach, reach + 1) * step + centre[1]:
                shares = np.array([red, green, 1.0 - red - green])
                if shares.min() < -1e-9:
                    continue
                error = _grey_error(light, shown, samples.weight, shares.clip(0.0))
                if error < best[0]:
                    red_share, green_share, blue_share = (float(v) for v in shares.clip(0.0))
                    best = (error, (red_share, green_share, blue_share))
        centre, reach = np.array(best[1]), 4
    mix = best[1]
    grey = (light @ np.array(mix)).clip(0.0, 1.0) ** (1.0 / GAMMA)
    tone = rising_curve(grey, shown, samples.weight)
    axis = np.linspace(0.0, 1.0, GIVEN) ** GAMMA
    blue, green_, red_ = np.meshgrid(axis, axis, axis, indexing="ij")
    mixed = (mix[0] * red_ + mix[1] * green_ + mix[2] * blue).clip(0.0, 1.0) ** (1.0 / GAMMA)
    lattice = np.repeat(np.clip(tone(mixed), 0.0, 1.0)[..., None], 3, axis=-1)
    return _told(lattice, samples, tone, mix)


def _grey_error(light: Array, shown: Array, weight: Array, shares: Array) -> float:
    """How far `shown` is from any rising curve of the mixed grey, in weighted squares."""
    grey = (light @ shares).clip(0.0, 1.0) ** (1.0 / GAMMA)
    off = rising_curve(grey, shown, weight)(grey) - shown
    return float((weight * np.minimum(np.abs(off), 0.05) ** 2).sum())


def _told(
    lattice: Array, samples: _Samples, tone: RisingCurve, mix: tuple[float, float, float] | None
) -> Fit:
    goal = lab(samples.after)
    fitted = ciede2000(lab(read(lattice, samples.before)), goal)
    untouched = ciede2000(lab(samples.before), goal)
    cells = np.zeros((_CELLS + 1,) * 3)
    cells[tuple((samples.before * _CELLS).astype(np.int64).T)] = 1.0
    seen = _grown(cells[:_CELLS, :_CELLS, :_CELLS])
    return Fit(
        lattice=lattice,
        tone=tone,
        seen=float(seen.mean()),
        cells=len(goal),
        mix=mix,
        residual=Residual(
            median=float(np.median(fitted)),
            p95=float(np.quantile(fitted, 0.95)),
            most=float(fitted.max()),
            untouched_median=float(np.median(untouched)),
            untouched_p95=float(np.quantile(untouched, 0.95)),
        ),
    )
