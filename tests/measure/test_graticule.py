"""The skin lines against the reflectances of published charts."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, Encoding, transfer_of
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


@pytest.mark.oracle
@pytest.mark.parametrize("name", ["bt709", "hlg", "pq", "phone-log-1"])
@pytest.mark.parametrize("exposure", [0.5, 1.0])
def test_skins_lie_on_the_line_of_their_encoding(name: str, exposure: float) -> None:
    """Every chart skin lies within 4 degrees of the line, which leaves other lights as much."""
    encoding = ENCODINGS[name]
    line = skin_line(encoding)
    space = "ITU-R BT.709" if encoding.primaries == "bt709" else "ITU-R BT.2020"
    assert line is not None

    signal = transfer_of(encoding).to_signal(exposure * linear(space))

    assert np.abs(chroma_angle(signal, encoding.matrix) - line.angle).max() < 4.0 < line.spread


def test_a_bt2020_picture_must_not_be_judged_by_the_bt709_line() -> None:
    """The lines of the two families are over 10 degrees apart: more than the spread of skins."""
    assert SKIN_LINES["hlg", "bt2020"].angle - SKIN_LINES["bt1886", "bt709"].angle > 10


def test_an_encoding_without_a_computed_line_has_none() -> None:
    """No line is invented for a gamut for which none was computed."""
    assert skin_line(Encoding("own", "logc3", "logc3-gamut", "bt709", "narrow")) is None
