"""What the pictures of a clip are like before anybody knows what their codes mean.

Levels are in 10-bit codes as in the file (8-bit codes times 4), so that they can be held against
the published codes of each encoding. Shares are 0..1 of the pixels looked at.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.colourmath.observer import CMFS
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.transfers import TRANSFERS
from evenhand.colourmath.ycbcr import CodeRange, to_rgb
from evenhand.measure.ends import clip_code

Planes = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]
Array = NDArray[np.float64]

DARK: Final = 150  # 10-bit code; the black of phone log is code 196, of HLG, PQ and SDR 64
_LOOKED_AT: Final = 40_000  # pixels of a picture: enough for a share of one in ten thousand
_BRIGHT: Final = 0.4  # signal; noise in the darks makes any colour


class PictureStats(msgspec.Struct, frozen=True):
    """Statistics of a clip's pictures. Levels are 10-bit codes of luma, shares 0..1.

    `floor` and `ceiling` are the 0.1 and 99.9 percentiles. `dark` is the share under code 150,
    `outside` the share under 56 or over 950 (narrow range has almost nothing there), `white` the
    share from 932. `saturation` is the 95th percentile of the distance from grey in Cb and Cr, 1
    being the end of the scale. `clip_code` is where highlights pile up, as a 10-bit narrow code.
    `impossible` is the share of bright pixels that would be colours no light can have, if read as
    second-generation phone log.
    """

    pictures: int
    floor: float
    low: float
    middle: float
    high: float
    ceiling: float
    dark: float
    outside: float
    white: float
    saturation: float
    clip_code: int | None
    impossible: float


def measure_pictures(
    pictures: Sequence[Planes], bits: int, matrix: str = "bt2020", code_range: CodeRange = "narrow"
) -> PictureStats:
    """Statistics of at least one picture (Y', Cb, Cr as coded), pooled over all of them.

    `matrix` and `code_range` are the best guess so far; only `clip_code` and `impossible` use them.
    """
    codes = np.concatenate([_thinned(planes) for planes in pictures])
    scaled = codes * 2.0 ** (10 - bits)
    luma, chroma = scaled[:, 0], scaled[:, 1:] - 512.0
    percentiles = np.percentile(luma, (0.1, 1, 50, 99, 99.9))
    floor, low, middle, high, ceiling = (round(float(p), 1) for p in percentiles)
    signal = to_rgb(codes, bits, matrix, code_range)
    return PictureStats(
        pictures=len(pictures),
        floor=floor,
        low=low,
        middle=middle,
        high=high,
        ceiling=ceiling,
        dark=_share(luma < DARK),
        outside=_share((luma < 56) | (luma > 950)),
        white=_share(luma >= 932),
        saturation=round(float(np.percentile(np.hypot(*chroma.T), 95)) / 448.0, 4),
        clip_code=clip_code(_histogram(signal)),
        impossible=_impossible(signal),
    )


def _thinned(planes: Planes) -> Array:
    """Every n-th chroma sample with the luma sample at its site, (n, 3)."""
    luma, first, second = planes
    down, across = round(luma.shape[0] / first.shape[0]), round(luma.shape[1] / first.shape[1])
    step = max(math.isqrt(first.size // _LOOKED_AT), 1)
    first, second = first[::step, ::step], second[::step, ::step]
    luma = luma[:: step * down, :: step * across][: first.shape[0], : first.shape[1]]
    return np.stack([luma, first, second], axis=-1).reshape(-1, 3).astype(np.float64)


def _share(mask: NDArray[np.bool_]) -> float:
    return round(float(mask.mean()), 6)


def _histogram(signal: Array) -> NDArray[np.int64]:
    codes = np.clip(np.rint(64.0 + 876.0 * signal), 0, 1023).astype(np.int64)
    return np.stack([np.bincount(codes[:, k], minlength=1024) for k in range(3)])


def _impossible(signal: Array) -> float:
    """Share of bright pixels outside the spectral locus, read as second-generation phone log."""
    peak = signal.max(axis=-1)
    bright = signal[(peak > _BRIGHT) & (peak < 1.0)]
    bright = bright[:: max(len(bright) // _LOOKED_AT, 1)]
    if not len(bright):
        return 0.0
    encoding = ENCODINGS["phone-log-2"]
    light = TRANSFERS[encoding.transfer].to_light(bright)
    xyz = light @ rgb_to_xyz(encoding.primaries).T
    total = xyz.sum(axis=-1)
    ok = (total > 1e-6) & (xyz[:, 1] > 0)
    outside = int((~ok).sum() + (~_inside_locus(xyz[ok, :2] / total[ok, None])).sum())
    return round(outside / len(bright), 6)


def _inside_locus(xy: Array) -> NDArray[np.bool_]:
    """Whether chromaticities (n, 2) are inside the spectral locus; its shape is convex."""
    x, y = _LOCUS[:, 0], _LOCUS[:, 1]
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    inside = np.ones(len(xy), bool)
    for k in range(len(x)):
        # clockwise from blue over green to red: inside is to the right of every edge
        inside &= dx[k] * (xy[:, 1] - y[k]) - dy[k] * (xy[:, 0] - x[k]) <= 1e-4 * np.hypot(
            dx[k], dy[k]
        )
    return inside


# 400 to 700 nm in steps of 10: outside that the points of the locus lie within rounding
_XY: Final = CMFS[8:69:2]
_LOCUS: Final = _XY[:, :2] / _XY.sum(axis=1, keepdims=True)
