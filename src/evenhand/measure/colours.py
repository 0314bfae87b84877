"""How the colours of two clips are spread, where no view is shared: a hint, never a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.decisions import Difference
from evenhand.measure.views import Features

Floats = NDArray[np.float64]

BINS, STEP = 192, 1 / 32  # of log2(R/G) and log2(B/G): six stops each way together
REACH = 48  # bins; a white fault is looked for within 1.5 stops of R/G and B/G
LEAST_SHARE = 0.02  # of a frame that has to be lit; less may be noise


@dataclass(frozen=True, slots=True)
class ColourLikeness:
    """How well the colour histograms of clips a and b fit: as they are, and at the best shift.

    Both are correlations 0..1. `shift` is what b's white then differs by from a's; `log_ratio` the
    same as log2 channel ratios with green at 0.
    """

    as_shot: float
    shifted: float
    shift: Difference
    log_ratio: tuple[float, float, float]


def colour_histogram(frames: Sequence[Features]) -> Floats | None:
    """Spread of log2(R/G), log2(B/G) over a clip's frames (192, 192); None where none is lit."""
    total = np.zeros((BINS, BINS))
    half = BINS * STEP / 2
    for frame in frames:
        light = cv2.blur(frame.light.astype(np.float32), (5, 5))[frame.valid]
        if len(light) < LEAST_SHARE * frame.valid.size:
            continue
        logs = np.log2(np.maximum(light[::3], 1e-4))
        counts, _, _ = np.histogram2d(
            logs[:, 0] - logs[:, 1],
            logs[:, 2] - logs[:, 1],
            bins=BINS,
            range=[[-half, half], [-half, half]],
        )
        total += counts / max(counts.sum(), 1)
    if total.sum() == 0:
        return None
    density = np.sqrt(total / total.sum())
    return np.asarray(cv2.GaussianBlur(density, (0, 0), 1.5), dtype=np.float64)


def colour_likeness(a: Floats, b: Floats) -> ColourLikeness:
    """Correlates two colour histograms over every shift that a white fault could make."""
    shape = (2 * BINS, 2 * BINS)
    product = np.conj(np.fft.rfft2(a, shape)) * np.fft.rfft2(b, shape)
    whole = np.fft.fftshift(np.fft.irfft2(product, shape))
    near = whole[BINS - REACH : BINS + REACH + 1, BINS - REACH : BINS + REACH + 1]
    near = near / np.sqrt((a**2).sum() * (b**2).sum())
    row, column = np.unravel_index(int(near.argmax()), near.shape)
    across, down = _centre(near, int(row), int(column))
    logs = (across * STEP, 0.0, down * STEP)
    found = ratios.difference_of(ratios.gains_of(np.exp2(logs)))
    return ColourLikeness(
        as_shot=float(near[REACH, REACH]),
        shifted=float(near.max()),
        shift=Difference(0.0, found.mired, found.duv),
        log_ratio=logs,
    )


def _centre(near: Floats, row: int, column: int) -> tuple[float, float]:
    """Centroid of the peak's top tenth within 5 × 5, in bins from no shift."""
    top, left = max(row - 2, 0), max(column - 2, 0)
    part = near[top : row + 3, left : column + 3]
    part = np.maximum(part - 0.9 * part.max(), 0)
    rows, columns = np.mgrid[top : top + part.shape[0], left : left + part.shape[1]]
    total = part.sum()
    return (
        float((rows * part).sum() / total) - REACH,
        float((columns * part).sum() / total) - REACH,
    )


def tone_deciles(frames: Sequence[Features]) -> Floats:
    """log2 of green light at the deciles 10 % to 90 % of a clip's valid pixels (9,)."""
    green = [f.light[..., 1][f.valid].astype(np.float32) for f in frames]
    lit = np.concatenate([*green, np.array([1e-4], np.float32)])
    steps = np.linspace(0.1, 0.9, 9)
    return np.asarray(np.quantile(np.log2(np.maximum(lit[::7], 1e-4)), steps), np.float64)


def brightness_shift(a: Floats, b: Floats) -> float:
    """Stops by which the tones of b lie above those of a: the median over their deciles."""
    return float(np.median(b - a))
