"""Counting loops of the scopes: one pass over a picture fills every histogram.

Levels are the 1024 codes of a 10-bit narrow signal, code = floor(876 · V + 64.5), so that one level
is one code of a 10-bit clip and black, white and what lies beyond them (−7.3 % to 109.5 %) have
their own places. Values further out are counted in the end levels.
"""

from __future__ import annotations

import numpy as np

from evenhand.kernels.compiling import kernel

LEVELS = 1024
BLACK_LEVEL = 64
WHITE_LEVEL = 940
CHROMA_CELLS = 256
RADIUS_STEPS = 1024

# Places in the array of counted shares.
SHARES = 8
PREFERRED_LOW, PREFERRED_HIGH, NOMINAL_LOW, NOMINAL_HIGH = 0, 1, 2, 3
ANY_AT_BLACK, ANY_AT_WHITE, ALL_AT_BLACK, ALL_AT_WHITE = 4, 5, 6, 7

# A block of columns whose counts stay in the second-level cache while all rows run through it.
BLOCK = 64


@kernel
def _level(value):  # type: ignore[no-untyped-def]
    code = np.int32(min(max(value * np.float32(876.0) + np.float32(64.5), 0.0), 1023.0))
    return min(max(code, 0), 1023)


@kernel
def _cell(value):  # type: ignore[no-untyped-def]
    """Cb or Cr ±0.5 to the nearest 8-bit narrow code."""
    code = np.int32(min(max(value * np.float32(224.0) + np.float32(128.5), 0.0), 255.0))
    return min(max(code, 0), 255)


@kernel
def count_scopes(signal, weights, per_column, low, high, wave, vector, radius, shares):  # type: ignore[no-untyped-def]
    """Adds the pixels of a picture to the counts.

    signal (h, w, 3) float32, finite; weights (kr, kg, kb, 1/(2−2kb), 1/(2−2kr)) float32; pixels
    `per_column` wide go to one column; wave (4, columns, 1024) uint32 in the order luma, R′, G′,
    B′; vector (256, 256) uint32 [Cr, Cb] in 8-bit codes; radius (1024,) uint32, the chroma radius
    0..1; shares (8,) int64 as named above, `low` and `high` being the preferred limits as levels.
    """
    height, width = signal.shape[0], signal.shape[1]
    kr, kg, kb, to_cb, to_cr = weights[0], weights[1], weights[2], weights[3], weights[4]
    for start in range(0, width, BLOCK):
        stop = min(start + BLOCK, width)
        for row in range(height):
            for x in range(start, stop):
                red, green, blue = signal[row, x, 0], signal[row, x, 1], signal[row, x, 2]
                luma = kr * red + kg * green + kb * blue
                column = x // per_column
                y, r, g, b = _level(luma), _level(red), _level(green), _level(blue)
                wave[0, column, y] += 1
                wave[1, column, r] += 1
                wave[2, column, g] += 1
                wave[3, column, b] += 1
                cb, cr = (blue - luma) * to_cb, (red - luma) * to_cr
                vector[_cell(cr), _cell(cb)] += 1
                far = np.int32(min(np.sqrt(cb * cb + cr * cr), np.float32(0.9999)) * RADIUS_STEPS)
                radius[min(max(far, 0), RADIUS_STEPS - 1)] += 1
                # most pixels of a usual picture are well inside: one test spares them the rest
                least, most = min(r, g, b), max(r, g, b)
                if least > BLACK_LEVEL and most < WHITE_LEVEL:
                    continue
                bottom, top = min(least, y), max(most, y)
                shares[PREFERRED_LOW] += bottom < low
                shares[PREFERRED_HIGH] += top > high
                shares[NOMINAL_LOW] += bottom < BLACK_LEVEL
                shares[NOMINAL_HIGH] += top > WHITE_LEVEL
                shares[ANY_AT_BLACK] += least <= BLACK_LEVEL
                shares[ANY_AT_WHITE] += most >= WHITE_LEVEL
                shares[ALL_AT_BLACK] += most <= BLACK_LEVEL
                shares[ALL_AT_WHITE] += least >= WHITE_LEVEL
