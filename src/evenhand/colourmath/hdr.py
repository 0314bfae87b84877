"""HLG and PQ of Recommendation ITU-R BT.2100, and the road between them.

E is HLG scene light 0..1, F is display light in cd/m². All in float64 on BT.2020 R, G, B. Negatives
are mirrored (BT.2100 defines none): noise about black keeps its mean.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array

A: Final = 0.17883277
B: Final = 0.28466892
C: Final = 0.55991073
M1: Final = 0.1593017578125
M2: Final = 78.84375
C1: Final = 0.8359375
C2: Final = 18.8515625
C3: Final = 18.6875
PQ_PEAK: Final = 10000.0

# BT.2020 luminance weights, as BT.2100 prints them for the OOTF.
LUMINANCE: Final = np.array([0.2627, 0.6780, 0.0593])
# Below this share of the peak a display cannot show light; it keeps the inverse OOTF finite.
_FLOOR: Final = 1e-7


def hlg_oetf(scene: Array) -> Array:
    """E (0..1, beyond allowed) to HLG signal; BT.2100 table 5."""
    e = np.abs(scene)
    log = A * np.log(np.maximum(12.0 * e, 1.0) - B) + C
    return np.copysign(np.where(e <= 1.0 / 12.0, np.sqrt(3.0 * e), log), scene)


def hlg_inverse_oetf(signal: Array) -> Array:
    """HLG signal to E; BT.2100 table 5."""
    v = np.abs(signal)
    scene = np.where(v <= 0.5, v * v / 3.0, (np.exp((v - C) / A) + B) / 12.0)
    return np.copysign(scene, signal)


def pq_eotf(signal: Array) -> Array:
    """PQ signal to cd/m²; BT.2100 table 4. Signals beyond 1 stay at 10 000 cd/m²: PQ ends there."""
    v = np.minimum(np.abs(signal), 1.0) ** (1.0 / M2)
    light = PQ_PEAK * (np.maximum(v - C1, 0.0) / (C2 - C3 * v)) ** (1.0 / M1)
    return np.copysign(light, signal)


def pq_inverse_eotf(light: Array) -> Array:
    """cd/m² to PQ signal; 0 gives 7.3e-7, as the formula does."""
    y = (np.minimum(np.abs(light), PQ_PEAK) / PQ_PEAK) ** M1
    return np.copysign(((C1 + C2 * y) / (1.0 + C3 * y)) ** M2, light)


def hlg_gamma(peak: float) -> float:
    """System gamma for a display of `peak` cd/m² (BT.2100 for 400..2000)."""
    return float(1.2 + 0.42 * np.log10(peak / 1000.0))


def hlg_ootf(scene: Array, peak: float = 1000.0) -> Array:
    """E on (..., 3) to display light in cd/m²: F = peak · Ys^(gamma−1) · E."""
    gamma = hlg_gamma(peak)
    ys = np.maximum(scene @ LUMINANCE, _FLOOR ** (1.0 / gamma))[..., None]
    result: Array = peak * ys ** (gamma - 1.0) * scene
    return result


def hlg_inverse_ootf(light: Array, peak: float = 1000.0) -> Array:
    """Display light in cd/m² on (..., 3) to E."""
    gamma = hlg_gamma(peak)
    share = light / peak
    ys = np.maximum(share @ LUMINANCE, _FLOOR)[..., None] ** (1.0 / gamma)
    result: Array = share * ys ** (1.0 - gamma)
    return result
