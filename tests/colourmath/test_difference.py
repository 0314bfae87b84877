"""Colour differences against Sharma's pairs and BT.2124."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from evenhand.colourmath.difference import ciede2000, delta_e_itp, ictcp, lab


# Sharma, Wu, Dalal 2005, table 1 (pairs that exercise each branch of the formula).
@pytest.mark.parametrize(
    ("first", "second", "printed"),
    [
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
        ((50, -1, 2), (50, 0, 0), 2.3669),
        ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
        ((50, 2.49, -0.001), (50, -2.49, 0.0011), 7.2195),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((50, 2.5, 0), (61, -5, 29), 22.8977),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
        ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
        ((0, 1, 0), (0, -1, 0), 2.95887),  # opposite hues; colour-science
    ],
)
def test_ciede2000_gives_sharmas_values(first, second, printed):
    """The printed four decimals, and the same the other way round."""
    assert float(ciede2000(first, second)) == pytest.approx(printed, abs=5.1e-5)
    assert float(ciede2000(second, first)) == pytest.approx(printed, abs=5.1e-5)


LAB = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))


@pytest.mark.oracle
@settings(deadline=None)
@given(LAB, LAB)
def test_ciede2000_agrees_with_colour_science(first, second):
    """Any pair, against another implementation; nearly opposite hues may go either way."""
    opposite = np.dot(first[1:], second[1:]) + np.hypot(*first[1:]) * np.hypot(*second[1:])
    assume(opposite > 1e-6 or np.hypot(*first[1:]) * np.hypot(*second[1:]) == 0.0)
    theirs = colour.difference.delta_E_CIE2000(first, second)

    assert float(ciede2000(first, second)) == pytest.approx(float(theirs), abs=1e-6)


@pytest.mark.oracle
def test_lab_of_a_display_signal_agrees_with_colour_science():
    """BT.1886 light, BT.709 primaries, CIELAB under D65."""
    signal = np.random.default_rng(1).random((50, 3))
    xyz = signal**2.4 @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ.T

    theirs = colour.XYZ_to_Lab(xyz, np.array([0.3127, 0.3290]))

    np.testing.assert_allclose(lab(signal), theirs, atol=2e-3)


def test_hdr_reference_white_is_lightness_100():
    """58 % PQ and 75 % HLG are 203 cd/m² (BT.2408), which stands for L* = 100."""
    pq = lab([0.58068888] * 3, "pq", "bt2020")
    hlg = lab([0.75] * 3, "hlg", "bt2020")

    np.testing.assert_allclose(pq, [100.0, 0.0, 0.0], atol=1e-3)
    np.testing.assert_allclose(hlg, [100.0, 0.0, 0.0], atol=0.05)


# Two implementations agreed (own NumPy and colour-science); BT.2124 gives the formula.
@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ((203, 203, 203), (208, 203, 203), 2.087081),
        ((100, 50, 25), (100, 52, 25), 3.713899),
        ((26, 26, 26), (27, 27, 27), 2.424950),
        ((10, 20, 30), (10, 20, 33), 4.489814),
    ],
)
def test_delta_e_itp(first, second, expected):
    """ΔE ITP of BT.2020 lights in cd/m²."""
    assert float(delta_e_itp(first, second)) == pytest.approx(expected, abs=1e-5)


def test_ictcp_of_grey_has_no_chroma():
    """Grey of 203 cd/m²: I is its PQ signal, Ct and Cp are 0."""
    np.testing.assert_allclose(ictcp([203.0] * 3), [0.58068888, 0.0, 0.0], atol=1e-8)
