"""The skin lines against the reflectances of published charts."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, Encoding, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.measure.graticule import SKIN_LINES, chroma_angle, skin_line
from evenhand.measure.scopes import CHROMA_VALUE, measure_scopes

SHAPE = colour.SpectralShape(380, 780, 5)
# Two measured sets of the 24-patch chart (patches 1 and 2 are skin) and the four skins of a
# memory-colour chart, spectra of colour-science's data tables.
CHARTS = getattr(colour, next(n for n in dir(colour) if n.startswith("SDS_COLOURC")))
SKINS = {
    f"{chart}: {patch}": CHARTS[chart][patch]
    for chart, count in ((next(iter(CHARTS)), 2), ("ISO 17321-1", 2), ("PMC", 4))
    for patch in list(CHARTS[chart])[:count]
}
# Cb/Cr angles of these skins under D65 in BT.709 by its OETF, in the order of SKINS; figures made
# by hand from the same spectra with Bradford adaptation and another set of tools.
ANGLES_709 = (121.39, 122.18, 121.55, 122.91, 120.18, 121.14, 120.64, 121.03)


def linear(primaries: str) -> np.ndarray:
    """(8, 3) linear light of the skins under D65."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    weights = observer * colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values[:, None]
    reflectances = np.array([skin.copy().align(SHAPE).values for skin in SKINS.values()])
    xyz = reflectances @ weights / weights[:, 1].sum()
    return xyz @ np.linalg.inv(colour.RGB_COLOURSPACES[primaries].matrix_RGB_to_XYZ).T


@pytest.mark.oracle
def test_chart_skins_lie_at_the_published_angles_in_bt709() -> None:
    """Coded by the OETF of BT.709-6 item 1.2, each skin is within 1 degree of its figure."""
    signal = colour.models.oetf_BT709(linear("ITU-R BT.709"))

    assert chroma_angle(signal) == pytest.approx(np.array(ANGLES_709), abs=1.0)
    # and the counted vectorscope, read back to the middle of its 8-bit cell, agrees within a cell
    for rgb, angle in zip(signal, ANGLES_709, strict=True):
        counts = measure_scopes(np.tile(rgb.astype(np.float32), (2, 2, 1))).vectorscope
        (cr,), (cb,) = (CHROMA_VALUE[i] for i in np.nonzero(counts))
        half_cell = np.degrees(0.5 * np.sqrt(2) / 224 / np.hypot(cb, cr))
        assert np.degrees(np.arctan2(cr, cb)) == pytest.approx(angle, abs=0.1 + half_cell)


NAMES = ["bt709", "hlg", "pq", "phone-log-1", "phone-log-2", "bt2020-sdr", "p3-sdr", "bt601-625"]


def in_space(linear_709: np.ndarray, encoding: Encoding) -> np.ndarray:
    """Linear BT.709 in the primaries of an encoding: by the library, or where it has none by us."""
    if encoding.primaries == "bt2020":
        to_xyz = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ
        from_xyz = np.linalg.inv(colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_RGB_to_XYZ)
        return linear_709 @ (from_xyz @ to_xyz).T
    return linear_709 @ rgb_to_rgb("bt709", encoding.primaries).T


@pytest.mark.oracle
@pytest.mark.parametrize("name", [*NAMES, "bt601-525"])
@pytest.mark.parametrize("exposure", [0.5, 1.0])
def test_skins_lie_on_the_line_of_their_encoding(name: str, exposure: float) -> None:
    """Every chart skin lies within 4 degrees of the line, which leaves other lights as much."""
    encoding = ENCODINGS[name]
    line = skin_line(encoding)
    assert line is not None

    light = exposure * in_space(linear("ITU-R BT.709"), encoding)
    signal = transfer_of(encoding).to_signal(light, encoding.range)

    assert np.abs(chroma_angle(signal, encoding.matrix) - line.angle).max() < 4.0 < line.spread


@pytest.mark.oracle
@pytest.mark.parametrize("name", [*NAMES, "bt601-525"])
@pytest.mark.parametrize("end", ["low", "high"])
def test_the_band_is_that_of_bt709_in_every_encoding(name: str, end: str) -> None:
    """Chart skins turned to 100 and 150 degrees in BT.709 come out at the ends of the band."""
    encoding = ENCODINGS[name]
    line = skin_line(encoding)
    assert line is not None
    signal = colour.models.oetf_BT709(linear("ITU-R BT.709"))
    ycc = colour.RGB_to_YCbCr(signal, colour.WEIGHTS_YCBCR["ITU-R BT.709"], out_legal=False)
    radius = np.hypot(ycc[:, 1], ycc[:, 2])
    angle = np.radians(100.0 if end == "low" else 150.0)
    turned = np.stack([ycc[:, 0], radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    rgb = colour.YCbCr_to_RGB(turned, colour.WEIGHTS_YCBCR["ITU-R BT.709"], in_legal=False)

    light = in_space(colour.models.oetf_inverse_BT709(rgb), encoding)
    found = chroma_angle(transfer_of(encoding).to_signal(light, encoding.range), encoding.matrix)

    assert np.abs(found - getattr(line, end)).max() < 2.0
    assert line.low < line.angle - line.spread
    assert line.angle + line.spread < line.high


def test_a_bt2020_picture_must_not_be_judged_by_the_bt709_line() -> None:
    """The lines of the two families are over 10 degrees apart: more than the spread of skins."""
    assert SKIN_LINES["hlg", "bt2020"].angle - SKIN_LINES["bt1886", "bt709"].angle > 10


def test_an_encoding_without_a_computed_line_has_none() -> None:
    """No line is invented for a gamut for which none was computed."""
    assert skin_line(Encoding("own", "logc3", "logc3-gamut", "bt709", "narrow")) is None
