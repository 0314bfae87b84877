"""The one door to OpenColorIO: its published renderings as float processors.

OpenColorIO is used for the ACES 2 output transforms. Processors are made once a process, take
float32, and may be used from several threads at a time.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import numpy as np
import PyOpenColorIO as ocio
from numpy.typing import NDArray

_TO_ACES = "ACEScg_to_ACES2065-1"
_OUTPUT = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - "
_DISPLAY = "DISPLAY - CIE-XYZ-D65_to_"

# fmt: off
_RENDERINGS = {
    "aces2-sdr": (_TO_ACES, _OUTPUT + "SDR-100nit-REC709_2.0", _DISPLAY + "REC.1886-REC.709"),
    "hlg-1000": (_TO_ACES, _OUTPUT + "HDR-1000nit-REC2020_2.0",
                 _DISPLAY + "REC.2100-HLG-1000nit"),
    "pq-1000": (_TO_ACES, _OUTPUT + "HDR-1000nit-REC2020_2.0", _DISPLAY + "REC.2100-PQ"),
}
# fmt: on


def _processor(styles: Iterable[str]) -> ocio.CPUProcessor:
    group = ocio.GroupTransform([ocio.BuiltinTransform(style) for style in styles])
    # Lossless: the default optimisation trades log and power for fast approximations.
    return (
        ocio.Config.CreateRaw()
        .getProcessor(group)
        .getOptimizedCPUProcessor(
            ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
        )
    )


@cache
def _rendering(name: str) -> ocio.CPUProcessor:
    return _processor(_RENDERINGS[name])


def render(name: str, light: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear AP1 (n, 3), finite, through an ACES 2 rendering to display signal 0..1, float32.

    `name` is "aces2-sdr" (100 cd/m², BT.709, BT.1886), or "hlg-1000" or "pq-1000" (1000 cd/m²,
    BT.2020).
    """
    pixels = np.array(light, np.float32, order="C")
    _rendering(name).applyRGB(pixels)
    return pixels
