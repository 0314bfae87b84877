"""Published skin reflectances and lights, and what a display signal of them is: by colour-science.

Nothing here calls evenhand: spectra, observer, matrices and curves are the library's.
"""

from __future__ import annotations

import colour
import numpy as np

SHAPE = colour.SpectralShape(380, 780, 5)
# The skin patches of two measurements of the 24-patch chart, and the four skins of a memory-colour
# chart: spectra in colour-science's data tables (dataset PMC, ISO 17321-1, and the first one).
_CHARTS = getattr(colour, next(n for n in dir(colour) if n.startswith("SDS_COLOURC")))
SKINS = {
    f"{chart}, patch {number}": sd
    for chart, count in ((next(iter(_CHARTS)), 2), ("ISO 17321-1", 2), ("PMC", 4))
    for number, sd in enumerate(list(_CHARTS[chart].values())[:count], 1)
}
_OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
BT709 = colour.RGB_COLOURSPACES["ITU-R BT.709"]
BT2020 = colour.RGB_COLOURSPACES["ITU-R BT.2020"]


def reflectances() -> np.ndarray:
    """(8, wavelengths) of the skins; luminances under D65 run from 0.10 (dark) to 0.36 (light)."""
    return np.array([sd.copy().align(SHAPE).values for sd in SKINS.values()])


def light_spectrum(kelvin: float | None) -> np.ndarray:
    """D65 (None), a black body below 5000 K, CIE daylight from 5000 K up."""
    if kelvin is None:
        return colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    if kelvin < 5000:
        return colour.sd_blackbody(kelvin, SHAPE).values
    # CCT of the daylight series is given for an older second radiation constant.
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin * 1.4388 / 1.4380)
    return colour.sd_CIE_illuminant_D_series(xy).align(SHAPE).values


def tristimulus(kelvin: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(XYZ of the skins, XYZ of a perfect white) under a light, with Y of the white at 1."""
    weights = _OBSERVER * light_spectrum(kelvin)[:, None]
    white = weights.sum(axis=0) / weights[:, 1].sum()
    return reflectances() @ weights / weights[:, 1].sum(), white


def linear_bt2020(kelvin: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Linear BT.2020 of the skins and of the white."""
    skins, white = tristimulus(kelvin)
    matrix = np.linalg.inv(BT2020.matrix_RGB_to_XYZ).T
    return skins @ matrix, white @ matrix


def angle_709(linear_2020: np.ndarray) -> np.ndarray:
    """Vectorscope angle of linear BT.2020 coded by the curve of BT.709, in degrees."""
    to_709 = np.linalg.inv(BT709.matrix_RGB_to_XYZ) @ BT2020.matrix_RGB_to_XYZ
    signal = colour.models.oetf_BT709(linear_2020 @ to_709.T)
    weights = colour.WEIGHTS_YCBCR["ITU-R BT.709"]
    ycc = colour.RGB_to_YCbCr(signal, weights, out_legal=False)
    return np.degrees(np.arctan2(ycc[..., 2], ycc[..., 1])) % 360


def kelvin_and_duv(xyz: np.ndarray) -> tuple[float, float]:
    """CCT and Duv of a white by Ohno's method (2013)."""
    uv = colour.xy_to_UCS_uv(colour.XYZ_to_xy(xyz))
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(uv)
    return float(kelvin), float(duv)
