"""Whites in kelvin and Duv, against CIE illuminants and Ohno's method in colour-science."""

from __future__ import annotations

from dataclasses import dataclass

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.adaptation import D65
from evenhand.colourmath.primaries import rgb_to_rgb, rgb_to_xyz
from evenhand.colourmath.white import (
    kelvin_duv,
    kelvin_duv_of_uv,
    levelling_matrix,
    mired,
    planckian_uv,
    white_uv,
    white_xy,
)


@dataclass(frozen=True)
class White:
    kelvin: float
    duv: float


# CIE 15 rounded chromaticities; temperatures and Duv by Ohno 2013 in colour-science, which agreed
# with an independent Planck integral to 0.05 K and 2e-6.
@pytest.mark.parametrize(
    ("name", "xy", "kelvin", "duv"),
    [
        ("A", (0.44758, 0.40745), 2855.49, 0.000003),
        ("C", (0.31006, 0.31616), 6774.13, -0.002152),
        ("D50", (0.34570, 0.35850), 5000.70, 0.003193),
        ("D55", (0.33243, 0.34744), 5502.37, 0.003255),
        ("D65", (0.31270, 0.32900), 6504.31, 0.003207),
        ("D75", (0.29903, 0.31488), 7505.04, 0.003139),
        ("E", (1 / 3, 1 / 3), 5455.46, -0.004423),
        ("FL2", (0.3721, 0.3751), 4223.39, 0.001768),
        ("FL11", (0.3805, 0.3769), 3999.52, 0.000054),
        ("LED-B1", (0.4560, 0.4078), 2732.75, -0.000708),
        ("LED-B5", (0.3118, 0.3236), 6598.32, 0.000870),
    ],
)
def test_illuminants_have_their_temperature(name, xy, kelvin, duv):
    """CIE illuminants come out within 0.1 K and 5e-6 (asked for: 2 K and 1e-4)."""
    found = kelvin_duv(xy)

    assert found[0] == pytest.approx(kelvin, abs=0.1), name
    assert found[1] == pytest.approx(duv, abs=5e-6), name


# CIE 15 (from memory): the daylight illuminants have 1.4388 / 1.4380 of the 5000, 5500, 6500 and
# 7500 K that they were first given; A by its definition has 2856 K.
@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "kelvin"), [("A", 2856), ("D50", 5003), ("D55", 5503), ("D65", 6504), ("D75", 7504)]
)
def test_illuminants_have_their_nominal_temperature(name: str, kelvin: float) -> None:
    """From the chromaticities in colour-science, which are rounded to five digits: to 3 K."""
    xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]

    assert kelvin_duv((float(xy[0]), float(xy[1])))[0] == pytest.approx(kelvin, abs=3.0)


# ANSI C78.377-2008 (from memory): target temperature and Duv of each nominal white, and the middle
# of its quadrangle.
@pytest.mark.oracle
@pytest.mark.parametrize(
    ("nominal", "kelvin", "duv", "xy"),
    [
        (2700, 2725, 0.000, (0.4578, 0.4101)),
        (3000, 3045, 0.000, (0.4338, 0.4030)),
        (3500, 3465, 0.000, (0.4073, 0.3917)),
        (4000, 3985, 0.001, (0.3818, 0.3797)),
        (4500, 4503, 0.001, (0.3611, 0.3658)),
        (5000, 5028, 0.002, (0.3447, 0.3553)),
        (5700, 5665, 0.002, (0.3287, 0.3417)),
        (6500, 6530, 0.003, (0.3123, 0.3282)),
    ],
)
def test_the_whites_of_lamps_have_their_target(
    nominal: int, kelvin: float, duv: float, xy: tuple[float, float]
) -> None:
    """To 3 K and 5e-5, what four digits of chromaticity allow; and back to these four digits."""
    found = kelvin_duv(xy)

    assert found[0] == pytest.approx(kelvin, abs=3.0), nominal
    assert found[1] == pytest.approx(duv, abs=5e-5), nominal
    assert white_xy(kelvin, duv) == pytest.approx(xy, abs=6e-5), nominal


# Planck's integral over the 1 nm observer, c2 = 1.4388e-2 m·K.
@pytest.mark.parametrize(
    ("kelvin", "u", "v"),
    [
        (2700, 0.2624984, 0.3515674),
        (3200, 0.2439882, 0.3448808),
        (4000, 0.2251106, 0.3343874),
        (5600, 0.2060988, 0.3174633),
        (6500, 0.2004490, 0.3103617),
    ],
)
def test_the_planckian_locus_is_where_it_should_be(kelvin, u, v):
    """Five-nanometre steps lose nothing against one."""
    np.testing.assert_allclose(planckian_uv(kelvin), [u, v], atol=5e-7)


@pytest.mark.oracle
@settings(deadline=None)
@given(kelvin=st.floats(1900.0, 25000.0), duv=st.floats(-0.02, 0.02))
def test_ohno_in_colour_science_agrees(kelvin, duv):
    """What we call kelvin and Duv is what Ohno 2013 finds, to 2 K in 6500 and 1e-4."""
    theirs = colour.temperature.uv_to_CCT_Ohno2013(white_uv(kelvin, duv))

    assert theirs[0] == pytest.approx(kelvin, rel=3e-4)
    assert theirs[1] == pytest.approx(duv, abs=1e-4)


@settings(deadline=None)
@given(kelvin=st.floats(1500.0, 40000.0), duv=st.floats(-0.03, 0.03))
def test_whites_survive_the_round_trip(kelvin, duv):
    """Kelvin and Duv to chromaticity and back."""
    found = kelvin_duv(white_xy(kelvin, duv))

    assert 1e6 / found[0] == pytest.approx(1e6 / kelvin, abs=0.01)
    assert found[1] == pytest.approx(duv, abs=1e-6)


def test_many_whites_at_once_are_the_same_as_one_by_one():
    """Arrays of whites keep their shape."""
    uv = white_uv(np.array([[3000.0, 6500.0]]), np.array([[0.01, -0.002]]))

    kelvin, duv = kelvin_duv_of_uv(uv)

    np.testing.assert_allclose(kelvin, [[3000.0, 6500.0]], rtol=1e-5)
    np.testing.assert_allclose(duv, [[0.01, -0.002]], atol=1e-7)


def test_mired_of_daylight():
    """5000 K is 200 mired."""
    assert float(mired(5000.0)) == pytest.approx(200.0)


@pytest.mark.parametrize("space", ["bt2020", "bt709", "phone-wide"])
def test_levelling_takes_the_white_of_the_clip_to_neutral(space):
    """Light of the clip's white becomes equal R, G and B at 2^stops of its luminance."""
    white = White(3100.0, 0.006)
    x, y = white_xy(white.kelvin, white.duv)
    seen = np.linalg.solve(rgb_to_xyz(space), [x / y, 1.0, (1 - x - y) / y])

    levelled = levelling_matrix(1.5, white, space) @ seen

    np.testing.assert_allclose(levelled, np.full(3, 2.0**1.5), rtol=1e-9)


def test_levelling_means_the_same_in_every_space():
    """Levelling in the working space is levelling in BT.2020, seen from there."""
    white = White(4000.0, -0.004)
    to_ap1 = rgb_to_rgb("bt2020", "ap1")

    there = levelling_matrix(0.7, white, "ap1") @ to_ap1
    here = to_ap1 @ levelling_matrix(0.7, white, "bt2020")

    np.testing.assert_allclose(there, here, atol=1e-12)


def test_no_white_means_exposure_alone():
    """Without a white the matrix only scales, and D65 itself moves nothing."""
    np.testing.assert_array_equal(levelling_matrix(1.0, None), 2.0 * np.eye(3))
    d65 = White(*kelvin_duv(D65))
    np.testing.assert_allclose(levelling_matrix(0.0, d65), np.eye(3), atol=1e-6)
