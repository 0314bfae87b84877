"""How much of a picture is lost at its two ends: clipped in the lights, crushed in the darks.

Codes are 10-bit narrow codes of the signal as shot, before any correction: exposure and white
applied afterwards neither lose nor bring back anything there.
"""

from __future__ import annotations

from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.ycbcr import rgb_to_ycc
from evenhand.measure.scopes import LEVEL_PERCENT, Counts

# Noise and the overshoot of subsampled chroma spread a clip over some codes on both sides.
CLIP_SPREAD: Final = 5
CRUSH_SPREAD: Final = 2
GREY: Final = 0.18

# A clip is a spike in the histogram: so much of the picture in 9 codes, so much denser than the
# codes below it, and so little above it. The limits were set on photographs that were clipped on
# purpose.
_HALF, _SEARCH = 4, 80
_LEAST_SHARE, _LEAST_RISE, _MOST_ABOVE = 3e-4, 3.0, 0.15


class Ends(msgspec.Struct, frozen=True):
    """What is lost at the ends. Levels are percent of signal, shares percent of the picture.

    `clip_from` says whether the clip level was seen in the picture as a spike ("picture") or is the
    end of the encoding ("encoding"). `clip_stops` is the light at the clip in stops above the 18 %
    grey card. `clipped` counts pixels with a channel at the clip, `crushed` those whose luma is at
    the code of no light.
    """

    clip_level: float
    clip_from: Literal["picture", "encoding"]
    clip_stops: float
    clipped: float
    black_level: float
    crushed: float


def clip_code(histogram: NDArray[np.integer] | Counts) -> int | None:
    """The code at which the lights pile up, or None.

    histogram (3, 1024) or (4, 1024) with luma first, as `Scopes.histogram`; pool the frames of a
    clip, since the level is one for all of them. The spike of strongest mass wins. White that was
    clipped before the camera (a lamp in the picture, a title) makes a spike too.
    """
    counts = np.asarray(histogram[-3:], np.float64).sum(axis=0)
    total = counts.sum()
    running = np.concatenate([[0.0], np.cumsum(counts)])
    top = int(np.flatnonzero(counts)[-1]) if total else 0
    best, found = 0.0, None
    for code in range(max(top - _SEARCH, 34), top + 1):
        end = min(code + _HALF + 1, len(counts))
        mass = running[end] - running[code - _HALF]
        base = (running[code - 9] - running[code - 34]) * 9.0 / 25.0
        above = total - running[min(code + 13, len(counts))]
        is_spike = mass >= max(_LEAST_SHARE * total, _LEAST_RISE * base)
        if is_spike and above <= _MOST_ABOVE * mass and mass > best:
            best, found = mass, code
    return found


def measure_ends(signal: NDArray[np.floating], encoding: Encoding, clip: int | None = None) -> Ends:
    """What one picture (h, w, 3) in signal has lost.

    `clip` is the code from `clip_code`, where the picture shows one.
    """
    transfer = transfer_of(encoding)
    matrix = "bt709" if encoding.matrix == "rgb" else encoding.matrix
    black = float(transfer.to_signal(np.zeros(3), encoding.range)[1])
    level = 1.0 if clip is None else float(LEVEL_PERCENT[clip]) / 100.0
    light = float(transfer.to_light(np.full(3, level), encoding.range)[1])
    picture = np.asarray(signal, np.float32)
    luma = picture @ rgb_to_ycc(matrix)[0].astype(np.float32)
    return Ends(
        clip_level=round(100.0 * level, 3),
        clip_from="encoding" if clip is None else "picture",
        clip_stops=round(float(np.log2(light / GREY)), 3),
        clipped=_percent(picture.max(axis=-1) >= _below(level, CLIP_SPREAD)),
        black_level=round(100.0 * black, 3),
        crushed=_percent(luma <= _below(black, -CRUSH_SPREAD)),
    )


def _below(level: float, codes: int) -> np.float32:
    # half a code of allowance for the rounding of the codes that the signal came from
    return np.float32(level - (codes + np.copysign(0.5, codes)) / 876.0)


def _percent(mask: NDArray[np.bool_]) -> float:
    return round(100.0 * float(mask.mean()), 4)
