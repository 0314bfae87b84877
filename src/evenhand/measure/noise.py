"""How noisy a clip is, from the flat places of a frame at its full size.

A smaller picture averages noise away, so this wants pixels as the camera wrote them.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.ycbcr import rgb_to_ycc

BLOCK: Final = 16  # pixels a side
FLAT_SHARE: Final = 0.25  # of the blocks: those with the least detail
LEAST_BLOCKS: Final = 12
GREY: Final = 0.18
# The mask of Immerkær (1996, doi:10.1006/cviu.1996.0060): it leaves out planes and edges, and
# makes white noise six times larger.
_MASK: Final = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
_TO_SIGMA: Final = 1.4826 / 6.0


def grey_noise(signal: NDArray[np.float32], encoding: Encoding) -> float | None:
    """Standard deviation of the light of an 18 % grey in one frame, 0.18 being the grey itself.

    signal (h, w, 3) at the camera's own pixels. Noise of light is taken as variance = a + b·light,
    read and shot noise, fitted through the flat blocks. None where too few blocks are flat and lit.
    """
    matrix = "bt709" if encoding.matrix == "rgb" else encoding.matrix
    luma = np.asarray(signal @ rgb_to_ycc(matrix)[0].astype(np.float32), np.float32)
    rows, columns = luma.shape[0] // BLOCK, luma.shape[1] // BLOCK
    if rows * columns < LEAST_BLOCKS:
        return None
    left = _blocks(np.asarray(cv2.filter2D(luma, cv2.CV_32F, _MASK), np.float32), rows, columns)
    sigma = np.median(np.abs(left), axis=1) * _TO_SIGMA
    blocks = _blocks(luma, rows, columns)
    level = np.median(blocks, axis=1)
    light, slope = _light_and_slope(level, encoding)
    usable = (light > 0.004) & (level < 0.9) & (sigma > 0)
    if usable.sum() < LEAST_BLOCKS:
        return None
    detail = blocks.std(axis=1)[usable] / sigma[usable]
    flat = detail <= np.quantile(detail, FLAT_SHARE)
    variance = (sigma[usable][flat] * slope[usable][flat]) ** 2
    return float(np.sqrt(_at_grey(light[usable][flat], variance)))


def _blocks(picture: NDArray[np.float32], rows: int, columns: int) -> NDArray[np.float32]:
    whole = picture[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK)
    return whole.transpose(0, 2, 1, 3).reshape(rows * columns, BLOCK * BLOCK)


def _light_and_slope(
    level: NDArray[np.float32], encoding: Encoding
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Light of neutral signals, and how much light a step of signal is there."""
    transfer, step = transfer_of(encoding), 1e-3
    middle = level.astype(np.float64)[:, None].repeat(3, axis=1)
    light = transfer.to_light(middle, encoding.range)[:, 1]
    above = transfer.to_light(middle + step, encoding.range)[:, 1]
    return np.asarray(light), np.asarray((above - light) / step)


def _at_grey(light: NDArray[np.float64], variance: NDArray[np.float64]) -> float:
    """variance = a + b·light at 18 % grey, by least squares on its relative error, a and b ≥ 0."""
    weight = 1.0 / np.maximum(variance, 1e-12)
    both = np.stack([np.ones_like(light), light], axis=1) * weight[:, None]
    (a, b), *_ = np.linalg.lstsq(both, variance * weight, rcond=None)
    if a < 0 or b < 0:
        only_shot = float((weight**2 * light * variance).sum() / (weight**2 * light**2).sum())
        only_read = float((weight**2 * variance).sum() / (weight**2).sum())
        a, b = (0.0, only_shot) if a < 0 else (only_read, 0.0)
    return float(a + b * GREY)
