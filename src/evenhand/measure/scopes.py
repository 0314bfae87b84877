"""Waveform, parade, histogram and vectorscope of a picture, as counts and as numbers.

Signal is R′G′B′ with 0 = black and 1 = white, as a display or a log curve codes it; it may go below
0 and above 1. All levels are percent of that range.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.ycbcr import MATRICES
from evenhand.errors import UsageError
from evenhand.kernels import scopes as kernels

Counts = NDArray[np.uint32]
Signal = NDArray[np.float32]

MAX_COLUMNS: Final = 512
PERCENTILES: Final = (0.1, 1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0, 99.9)

# EBU R 103 v3.0: R′, G′, B′ and Y′ within −5 %..105 %, which are the 10-bit codes 20..984.
PREFERRED_CODES: Final = (20, 984)

LEVEL_PERCENT: Final = np.asarray(
    (np.arange(kernels.LEVELS) - kernels.BLACK_LEVEL) / 8.76, np.float64
)
"""(1024,) what each level of the counts stands for: 10-bit code 64 is 0 %, 940 is 100 %."""

CHROMA_VALUE: Final = np.asarray((np.arange(kernels.CHROMA_CELLS) - 128) / 224.0, np.float64)
"""(256,) Cb or Cr of each cell of the vectorscope: 8-bit code 128 is 0, 16 and 240 are ±0.5."""


class ScopeNumbers(msgspec.Struct, frozen=True):
    """What the scopes show, as numbers. Levels are percent of signal, shares percent of the
    picture.

    `luma_percentiles` and `saturation_percentiles` go by the names "0.1" to "99.9". Saturation is
    the distance from the centre of the vectorscope in percent of ±0.5, the span of Cb and Cr alone
    (75 % bars lie at 75 to 89). Levels are exact to one 10-bit code (0.11 %). A pixel is outside
    the limits if one of R′, G′, B′ or Y′ is.
    """

    matrix: str
    luma_percentiles: dict[str, float]
    luma_mean: float
    channel_means: tuple[float, float, float]
    below_preferred: float  # under −5 % (EBU R 103)
    above_preferred: float  # over 105 %
    below_black: float  # under 0 %
    above_white: float  # over 100 %
    pinned_low: float  # a channel at or under 0 %
    pinned_high: float  # a channel at or over 100 %
    black: float  # all three channels at or under 0 %
    white: float  # all three channels at or over 100 %
    saturation_percentiles: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class Scopes:
    """Counts of pixels, for drawing, and the numbers that go with them.

    waveform    (4, columns, 1024) luma, R′, G′, B′; columns run left to right over the picture
    vectorscope (256, 256) rows Cr, columns Cb, in cells of one 8-bit code (`CHROMA_VALUE`)
    The last axis of the waveform is `LEVEL_PERCENT`.
    """

    matrix: str
    size: tuple[int, int]  # width, height of what was measured
    waveform: Counts
    vectorscope: Counts
    numbers: ScopeNumbers

    @property
    def luma(self) -> Counts:
        """(columns, 1024)."""
        counts: Counts = self.waveform[0]
        return counts

    @property
    def parade(self) -> Counts:
        """(3, columns, 1024): R′, G′, B′."""
        return self.waveform[1:]

    @property
    def histogram(self) -> NDArray[np.uint64]:
        """(4, 1024): luma, R′, G′, B′ of the whole picture."""
        counts: NDArray[np.uint64] = self.waveform.sum(axis=1, dtype=np.uint64)
        return counts


def measure_scopes(signal: Signal, matrix: str = "bt709", columns: int = MAX_COLUMNS) -> Scopes:
    """Every scope of one picture, from all its pixels.

    signal (h, w, 3) finite; `matrix` names the luma weights ("bt709", "bt2020", "bt601"); `columns`
    is the most columns that the waveform may have: each takes the same whole number of pixels.
    """
    picture = np.ascontiguousarray(signal, np.float32)
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.size == 0:
        raise ValueError(f"expected a picture (h, w, 3), got {picture.shape}")
    height, width = picture.shape[:2]
    per_column = -(-width // columns)
    wave = np.zeros((4, -(-width // per_column), kernels.LEVELS), np.uint32)
    vector = np.zeros((kernels.CHROMA_CELLS, kernels.CHROMA_CELLS), np.uint32)
    radius = np.zeros(kernels.RADIUS_STEPS, np.uint32)
    shares = np.zeros(kernels.SHARES, np.int64)
    kernels.count_scopes(
        picture, _weights(matrix), per_column, *PREFERRED_CODES, wave, vector, radius, shares
    )
    numbers = _numbers(matrix, wave.sum(axis=1, dtype=np.int64), radius, shares / (height * width))
    return Scopes(matrix, (width, height), wave, vector, numbers)


def _weights(matrix: str) -> Signal:
    if matrix == "rgb" or matrix not in MATRICES:
        known = ", ".join(name for name in MATRICES if name != "rgb")
        raise UsageError(matrix, "is no matrix with a luma", f"Choose one of {known}")
    kr, kb = MATRICES[matrix]
    return np.array([kr, 1 - kr - kb, kb, 0.5 / (1 - kb), 0.5 / (1 - kr)], np.float32)


def _numbers(
    matrix: str, histogram: NDArray[np.int64], radius: Counts, shares: NDArray[np.float64]
) -> ScopeNumbers:
    luma, *means = (histogram @ LEVEL_PERCENT / histogram[0].sum()).tolist()
    percent = [round(100.0 * share, 4) for share in shares.tolist()]
    steps = 200.0 * (np.arange(kernels.RADIUS_STEPS) + 0.5) / kernels.RADIUS_STEPS
    return ScopeNumbers(
        matrix=matrix,
        luma_percentiles=_percentiles(histogram[0], LEVEL_PERCENT),
        luma_mean=luma,
        channel_means=(means[0], means[1], means[2]),
        below_preferred=percent[kernels.PREFERRED_LOW],
        above_preferred=percent[kernels.PREFERRED_HIGH],
        below_black=percent[kernels.NOMINAL_LOW],
        above_white=percent[kernels.NOMINAL_HIGH],
        pinned_low=percent[kernels.ANY_AT_BLACK],
        pinned_high=percent[kernels.ANY_AT_WHITE],
        black=percent[kernels.ALL_AT_BLACK],
        white=percent[kernels.ALL_AT_WHITE],
        saturation_percentiles=_percentiles(radius, steps),
    )


def _percentiles(counts: NDArray[np.integer], values: NDArray[np.float64]) -> dict[str, float]:
    """The value below or at which the given percent of the counts lie (nearest rank)."""
    running = np.cumsum(counts, dtype=np.int64)
    ranks = np.ceil(np.array(PERCENTILES) / 100.0 * running[-1])
    places = np.searchsorted(running, np.maximum(ranks, 1))
    return {f"{q:g}": float(values[place]) for q, place in zip(PERCENTILES, places, strict=True)}
