"""Colour difference: CIELAB and CIEDE2000, and ΔE ITP for HDR."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from evenhand.colourmath import hdr
from evenhand.colourmath.adaptation import D65, xy_to_xyz
from evenhand.colourmath.curves import Array
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.transfers import TRANSFERS

# BT.2408: HDR reference white, the light that L* = 100 stands for in an HDR picture.
HDR_WHITE: Final = 203.0
_WHITE: Final = xy_to_xyz(D65)


def xyz_to_lab(xyz: ArrayLike) -> Array:
    """XYZ (..., 3), D65, Y = 1 for white, to CIELAB (CIE 15); negatives on the straight part."""
    ratio = np.asarray(xyz, np.float64) / _WHITE
    f = np.where(ratio > 216.0 / 24389.0, np.cbrt(ratio), (841.0 / 108.0) * ratio + 4.0 / 29.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def lab(rgb_signal: ArrayLike, transfer: str = "bt1886", primaries: str = "bt709") -> Array:
    """Display signal (..., 3) to CIELAB, D65.

    For "bt1886" and "srgb" signal 1 is white. For "hlg" and "pq" the light is that of a 1000 cd/m²
    display, and 203 cd/m² is white, so that L* runs past 100 in highlights.
    """
    signal = np.asarray(rgb_signal, np.float64)
    if transfer == "pq":
        light = hdr.pq_eotf(signal) / HDR_WHITE
    elif transfer == "hlg":
        light = hdr.hlg_ootf(hdr.hlg_inverse_oetf(signal)) / HDR_WHITE
    else:
        light = TRANSFERS[transfer].to_light(signal)
    return xyz_to_lab(light @ rgb_to_xyz(primaries).T)


def ciede2000(first: ArrayLike, second: ArrayLike) -> Array:
    """CIEDE2000 of CIELAB pairs (..., 3), all k = 1 (ISO/CIE 11664-6; Sharma et al. 2005)."""
    l1, a1, b1 = np.moveaxis(np.asarray(first, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, np.float64), -1, 0)
    mean_c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(mean_c7 / (mean_c7 + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360.0, np.degrees(np.arctan2(b2, a2)) % 360.0
    turn = h2 - h1
    # Hues exactly opposite keep their sign: their mean is then half their sum, as Sharma has it.
    turn = turn - np.where(np.abs(turn) > 180.0, np.copysign(360.0, turn), 0.0)
    d_hue = np.where(c1 * c2 == 0.0, 0.0, 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2.0))
    mean_l, mean_c = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    mean_h = np.where(c1 * c2 == 0.0, h1 + h2, (h1 + turn / 2.0) % 360.0)
    weight = _hue_weight(mean_h)
    s_l = 1.0 + 0.015 * (mean_l - 50.0) ** 2 / np.sqrt(20.0 + (mean_l - 50.0) ** 2)
    s_c = 1.0 + 0.045 * mean_c
    s_h = 1.0 + 0.015 * mean_c * weight
    swing = 30.0 * np.exp(-(((mean_h - 275.0) / 25.0) ** 2))
    r_t = -2.0 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)) * np.sin(np.radians(2.0 * swing))
    x, y, z = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    result: Array = np.sqrt(np.maximum(x * x + y * y + z * z + r_t * y * z, 0.0))
    return result


def _hue_weight(mean_h: Array) -> Array:
    angle = np.radians(mean_h)
    result: Array = (
        1.0
        - 0.17 * np.cos(angle - np.radians(30.0))
        + 0.24 * np.cos(2.0 * angle)
        + 0.32 * np.cos(3.0 * angle + np.radians(6.0))
        - 0.20 * np.cos(4.0 * angle - np.radians(63.0))
    )
    return result


# BT.2100 table 7: BT.2020 light to LMS, and PQ-coded LMS to I, Ct, Cp.
_LMS: Final = (
    np.array([[1688.0, 2146.0, 262.0], [683.0, 2951.0, 462.0], [99.0, 309.0, 3688.0]]) / 4096.0
)
_ICTCP: Final = (
    np.array([[2048.0, 2048.0, 0.0], [6610.0, -13613.0, 7003.0], [17933.0, -17390.0, -543.0]])
    / 4096.0
)


def ictcp(light: ArrayLike) -> Array:
    """BT.2020 light in cd/m² (..., 3) to I, Ct, Cp (BT.2100, PQ form)."""
    result: Array = hdr.pq_inverse_eotf(np.asarray(light, np.float64) @ _LMS.T) @ _ICTCP.T
    return result


def delta_e_itp(first: ArrayLike, second: ArrayLike) -> Array:
    """ΔE ITP (BT.2124) of two BT.2020 lights in cd/m² (..., 3); 1 is about just noticeable."""
    d = ictcp(first) - ictcp(second)
    result: Array = 720.0 * np.sqrt(d[..., 0] ** 2 + 0.25 * d[..., 1] ** 2 + d[..., 2] ** 2)
    return result
