"""How far a compiled grade is from the exact one: code and colour differences, and the bound.

The bound holds on the clip's own pixels and on the stress set: luma p99.9 ≤ 1.0 10-bit code,
CIEDE2000 p99.9 ≤ 0.25 (0.5 in HDR) and at most 1.0, neutrals that the exact transform keeps neutral
within half a code. Chroma p99.9 ≤ 1.5 codes is a goal. Both kinds of figure are kept, since codes
mislead in saturated darks near the gamut boundary: there several codes are invisible.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import msgspec
import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.difference import ciede2000, lab
from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.ycbcr import to_rgb

LUMA_BOUND: Final = 1.0
CHROMA_GOAL: Final = 1.5
# Measured: rounding to 10 bits alone makes p99.9 of 0.3 in SDR, 0.9 in HLG and 1.6 in PQ, whose
# codes are coarser steps of lightness against a white of 203 cd/m².
DE_BOUND: Final = 0.25
HDR_DE_BOUND: Final = 0.5
DE_MAX_BOUND: Final = 1.0
NEUTRAL_BOUND: Final = 0.5


@dataclass(frozen=True, slots=True)
class Differences:
    """p99.9 of luma and chroma (10-bit codes) and of CIEDE2000, its maximum, and its bound."""

    luma_p999: float
    chroma_p999: float
    de_p999: float
    de_max: float
    de_bound: float

    @property
    def excess(self) -> float:
        """The worst of the bounded figures as a multiple of its bound; 1 or less is within."""
        return max(
            self.luma_p999 / LUMA_BOUND, self.de_p999 / self.de_bound, self.de_max / DE_MAX_BOUND
        )


class CompileReport(msgspec.Struct, frozen=True):
    """Compiled against exact: on the clip's pixels, on the stress set (`stress_…`), on neutrals.

    Codes are 10-bit codes of the output encoding. `neutral_cast` is the greatest distance of Cb or
    Cr between compiled and exact on the clip's neutral axis; `keeps_neutral` says whether the exact
    transform leaves that axis neutral. `shaped` says that the nodes do not lie at equal steps.
    """

    luma_p999: float
    chroma_p999: float
    de_p999: float
    de_max: float
    stress_luma_p999: float
    stress_chroma_p999: float
    stress_de_p999: float
    stress_de_max: float
    size: int
    shaped: bool
    neutral_cast: float
    keeps_neutral: bool
    pixels: int
    within_bound: bool
    chroma_within_goal: bool


def de_bound(output: Encoding) -> float:
    """The bound of CIEDE2000 p99.9 for pictures in an output encoding."""
    return HDR_DE_BOUND if output.transfer in ("hlg", "pq") else DE_BOUND


def codes_to_lab(codes: Array, output: Encoding) -> Array:
    """10-bit codes (n, 3) of an output encoding to CIELAB."""
    signal = to_rgb(codes, 10, output.matrix, output.range)
    return lab(signal, output.transfer, output.primaries)


def differences(exact: Array, compiled: Array, output: Encoding) -> Differences:
    """Compare codes (n, 3), neither rounded; n ≥ 1."""
    off = np.abs(exact - compiled)
    colour = ciede2000(codes_to_lab(exact, output), codes_to_lab(compiled, output))
    return Differences(
        luma_p999=float(np.quantile(off[:, 0], 0.999)),
        chroma_p999=float(np.quantile(off[:, 1:].max(axis=1), 0.999)),
        de_p999=float(np.quantile(colour, 0.999)),
        de_max=float(colour.max()),
        de_bound=de_bound(output),
    )
