"""Where the nodes of a lattice should lie: close together where the grade bends on this clip.

Linear interpolation errs by the second difference, and that falls with the square of the step; so
the density of nodes follows the square root of the second differences of the exact transform,
measured along each channel at the clip's own pixels, in units of the bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.polynomial import chebyshev

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding
from evenhand.grade.fidelity import CHROMA_GOAL, LUMA_BOUND, codes_to_lab, de_bound
from evenhand.grade.lattice import Codes

BINS: Final = 512
# Half a cell of a lattice of 65: the scale that the second differences are taken at.
_DELTA: Final = 1.0 / 128.0
# A share of the nodes stays spread evenly, for colours that were not among the samples.
_EVEN_SHARE: Final = 0.1
# Means of a high power lean towards the worst pixels of a bin, as the 99.9th percentile does.
_POWER: Final = 4.0
_SMOOTHING: Final = 25
_DEGREE: Final = 9  # of the axis; what the kernel recognises
_LEAST_DENSITY: Final = 0.15  # of the mean: a gap between nodes is at most so much wider


def shaped_axis(
    codes: Codes, sets: Sequence[Array], domain: tuple[float, float], output: Encoding
) -> Array:
    """An axis (BINS + 1 places, 0..1, rising) for `lattice.bake`.

    `sets` are signals (n, 3) each; where they ask for different densities the greater one counts,
    so that a large set does not drown a small one.
    """
    wishes = [_wished_density(codes, signals, domain, output) for signals in sets if len(signals)]
    wanted = np.maximum.reduce([wish / max(float(wish.sum()), 1e-9) for wish in wishes])
    window = np.hanning(_SMOOTHING + 2)[1:-1]
    wanted = np.convolve(np.pad(wanted, _SMOOTHING // 2, "edge"), window / window.sum(), "valid")
    wanted = wanted / max(float(wanted.sum()), 1e-9)
    axis = np.concatenate([[0.0], np.cumsum(wanted + _EVEN_SHARE / BINS)])
    result: Array = axis / axis[-1]
    return result


def smooth_axis(axis: Array) -> Array:
    """The nearest polynomial of degree 9 to an axis (BINS + 1) that still rises everywhere.

    The kernel works a polynomial out for each pixel much faster than it looks up a table.
    """
    density = np.diff(axis)
    ends = np.linspace(-1.0, 1.0, BINS + 1)
    series = chebyshev.chebfit((ends[1:] + ends[:-1]) / 2.0, density, _DEGREE - 1)
    fitted = chebyshev.chebval(ends, series)
    mean = float(np.trapezoid(fitted, ends)) / 2.0
    series, least = series / mean, float(fitted.min()) / mean
    if least < _LEAST_DENSITY:  # mixed with the even density until it is nowhere too thin
        share = (1.0 - _LEAST_DENSITY) / (1.0 - least)
        series = series * share
        series[0] += 1.0 - share
    smooth = chebyshev.chebval(ends, chebyshev.chebint(series))
    result: Array = (smooth - smooth[0]) / (smooth[-1] - smooth[0])
    return result


def _wished_density(
    codes: Codes, samples: Array, domain: tuple[float, float], output: Encoding
) -> Array:
    """Square root of the bend at each of BINS places of the domain, (BINS,)."""
    low, high = domain
    middle = codes(samples)
    middle_lab = codes_to_lab(middle, output)
    total, count = np.zeros(BINS), np.zeros(BINS)
    for channel in range(3):
        step = np.zeros(3)
        step[channel] = _DELTA * (high - low)
        below, above = codes(samples - step), codes(samples + step)
        labs = codes_to_lab(below, output), codes_to_lab(above, output)
        colour = _colour_bend(labs[0] - 2.0 * middle_lab + labs[1], middle_lab)
        code = _code_bend(below - 2.0 * middle + above)
        bend = np.maximum(code, colour / de_bound(output))
        place = np.clip((samples[:, channel] - low) / (high - low) * BINS, 0, BINS - 1).astype(int)
        total += np.bincount(place, bend**_POWER, BINS)
        count += np.bincount(place, minlength=BINS)
    least = 3.0 * len(samples) / BINS / 50.0  # bins with hardly a pixel do not ask for nodes
    result: Array = (total / np.maximum(count, least)) ** (0.5 / _POWER)
    return result


def _code_bend(codes: Array) -> Array:
    """Second differences of codes (n, 3) as multiples of the bound of luma and goal of chroma."""
    luma = np.abs(codes[:, 0]) / LUMA_BOUND
    result: Array = np.maximum(luma, np.abs(codes[:, 1:]).max(axis=1) / CHROMA_GOAL)
    return result


def _colour_bend(lab: Array, middle_lab: Array) -> Array:
    """Second differences of CIELAB (n, 3) as a distance, chroma weighted as CIEDE2000 does."""
    chroma = np.hypot(middle_lab[:, 1], middle_lab[:, 2])
    result: Array = np.hypot(lab[:, 0], np.hypot(lab[:, 1], lab[:, 2]) / (1.0 + 0.045 * chroma))
    return result
