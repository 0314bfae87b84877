"""Cone gains and what they mean in stops, mired and Duv."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.white import levelling_matrix, white_xy
from evenhand.grade.document import White
from evenhand.measure import ratios


def test_no_gain_is_no_difference() -> None:
    """Gains of zero leave a D65 neutral where it is."""
    found = ratios.difference_of(np.zeros(3))

    assert (found.stops, found.mired, found.duv) == pytest.approx((0, 0, 0), abs=1e-6)


def test_one_stop_of_light_is_one_stop() -> None:
    """Doubling every channel is one stop and moves no white."""
    found = ratios.difference_of(ratios.gains_of(np.full(3, 2.0)))

    assert (found.stops, found.mired, found.duv) == pytest.approx((1, 0, 0), abs=1e-6)


@pytest.mark.parametrize(("ratio", "warmer"), [((1.2, 1.0, 0.8), True), ((0.8, 1.0, 1.2), False)])
def test_redder_is_warmer(ratio: tuple[float, float, float], warmer: bool) -> None:
    """A picture with more red and less blue is warmer: its mired is positive."""
    found = ratios.difference_of(ratios.gains_of(np.array(ratio)))

    assert (found.mired > 0) is warmer


def test_greener_has_positive_duv() -> None:
    """More green moves Duv up, less of it down."""
    up = ratios.difference_of(ratios.gains_of(np.array([1.0, 1.1, 1.0])))
    down = ratios.difference_of(ratios.gains_of(np.array([1.0, 0.9, 1.0])))

    assert up.duv > 0 > down.duv


def test_gains_and_ratio_undo_each_other() -> None:
    """A neutral's ratio gives back the gains that made it."""
    gains = np.array([0.3, -0.2, 0.7])

    assert ratios.gains_of(ratios.ratio_of(gains)) == pytest.approx(gains, abs=1e-12)


@pytest.mark.oracle
def test_matrix_is_the_published_cat16() -> None:
    """The matrix of a white's gains is colour-science's von Kries adaptation in CAT16."""
    xy = white_xy(4500.0, 0.004)
    gains = -ratios.levelling_gains(0.0, White(4500.0, 0.004))
    d65, there = (colour.xy_to_XYZ(w) for w in ((0.3127, 0.3290), xy))
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(d65, there, transform="CAT16")
    to_xyz = rgb_to_xyz("bt2020")

    assert ratios.matrix_of(gains) == pytest.approx(
        np.linalg.inv(to_xyz) @ adapt @ to_xyz, abs=1e-6
    )


def test_white_and_stops_make_the_correction_that_undoes_the_gains() -> None:
    """What a decision stores takes the clip exactly back: the grade's matrix is the inverse."""
    gains = np.array([0.4, 0.1, -0.5])
    correction = levelling_matrix(-ratios.stops_of(gains), ratios.white_of(gains))

    assert correction @ ratios.matrix_of(gains) == pytest.approx(np.eye(3), abs=1e-6)


def test_gains_add_along_a_chain() -> None:
    """The matrix of a sum of gains is the product of their matrices, in either order."""
    first, second = np.array([0.2, 0.1, -0.3]), np.array([-0.5, 0.0, 0.4])

    assert ratios.matrix_of(first + second) == pytest.approx(
        ratios.matrix_of(second) @ ratios.matrix_of(first), abs=1e-12
    )
