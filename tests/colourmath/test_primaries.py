"""Matrices between primaries, against printed values and OpenColorIO."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.colourmath.adaptation import CONES, D50, D65, adaptation_matrix
from evenhand.colourmath.primaries import PRIMARIES, luminance_weights, rgb_to_rgb, rgb_to_xyz

# ITU-R BT.2087, BT.2407 print four decimals of these; further digits from colour-science.
PRINTED = [
    (
        "bt709",
        "bt2020",
        [
            [0.6274038959, 0.3292830384, 0.0433130657],
            [0.0690972894, 0.9195403951, 0.0113623156],
            [0.0163914389, 0.0880133079, 0.8955952532],
        ],
    ),
    (
        "bt2020",
        "p3-d65",
        [
            [1.3435782526, -0.2821796705, -0.0613985821],
            [-0.0652974528, 1.0757879158, -0.0104904631],
            [0.0028217873, -0.0195984945, 1.0167767073],
        ],
    ),
    (  # phone log, first generation: OpenColorIO and colour-science, to 1e-10
        "bt2020",
        "ap0",
        [
            [0.6790856347, 0.1577009146, 0.1632134506],
            [0.0460020031, 0.8590546730, 0.0949433239],
            [-0.0005739432, 0.0284677684, 0.9721061748],
        ],
    ),
    (  # phone log, second generation: OpenColorIO
        "phone-wide",
        "ap0",
        [
            [0.6949610493, 0.2414052688, 0.0636336819],
            [0.0473627464, 1.0042959251, -0.0516586715],
            [-0.0219897894, -0.0289891050, 1.0509788943],
        ],
    ),
    (  # AMPAS S-2014-004
        "ap1",
        "ap0",
        [
            [0.6954522414, 0.1406786965, 0.1638690622],
            [0.0447945634, 0.8596711184, 0.0955343182],
            [-0.0055258826, 0.0040252103, 1.0015006723],
        ],
    ),
]


@pytest.mark.parametrize(("src", "dst", "printed"), PRINTED)
def test_matrix_is_the_printed_one(src, dst, printed):
    """Matrices agree with recommendations and libraries to their last digit."""
    np.testing.assert_allclose(rgb_to_rgb(src, dst), printed, atol=1.1e-10)


@pytest.mark.parametrize("src", PRIMARIES)
@pytest.mark.parametrize("dst", ["bt2020", "ap1"])
def test_white_stays_white_and_the_way_back_undoes(src, dst):
    """Equal R, G and B stay equal in every space, and there and back is the identity."""
    there = rgb_to_rgb(src, dst)

    np.testing.assert_allclose(there @ np.ones(3), np.ones(3), atol=1e-12)
    np.testing.assert_allclose(rgb_to_rgb(dst, src) @ there, np.eye(3), atol=1e-12)


def test_luminance_weights_are_the_published_ones():
    """BT.709 and AP1 weights (the latter of AMPAS S-2014-004)."""
    bt709, ap1 = luminance_weights("bt709"), luminance_weights("ap1")

    np.testing.assert_allclose(bt709, [0.2126390059, 0.7151686788, 0.0721923154], atol=1e-10)
    np.testing.assert_allclose(ap1, [0.27222872, 0.67408177, 0.05368952], atol=5e-9)


def test_matrices_cannot_be_changed_by_their_users():
    """Cached matrices are read-only."""
    with pytest.raises(ValueError, match="read-only"):
        rgb_to_xyz("bt709")[0, 0] = 2.0


# Whites from CIE 15, rounded xy; two implementations agreed to these digits.
@pytest.mark.parametrize(
    ("method", "src", "dst", "expected"),
    [
        ("bradford", (0.44758, 0.40745), D65, [0.170992, 0.144751, 0.155411]),
        ("bradford", D50, D65, [0.190793, 0.146877, 0.065905]),
        ("cat02", (0.44758, 0.40745), D65, [0.171866, 0.145853, 0.153655]),
        ("cat02", D65, D50, [0.210508, 0.153664, 0.037343]),
        ("cat16", (0.44758, 0.40745), D65, [0.175172, 0.149135, 0.153781]),
        ("cat16", D65, D50, [0.206570, 0.150181, 0.036725]),
    ],
)
def test_adaptation_gives_the_known_colour(method, src, dst, expected):
    """XYZ (0.2, 0.15, 0.05) lands where colour-science and a hand calculation put it."""
    found = adaptation_matrix(src, dst, method) @ [0.2, 0.15, 0.05]

    np.testing.assert_allclose(found, expected, atol=6e-7)


@pytest.mark.oracle
def test_the_published_inverse_of_cat16_is_its_inverse():
    """Li et al. 2017 (doi:10.1002/col.22131) print both the matrix and its inverse."""
    published = [
        [1.86206786, -1.01125463, 0.14918677],
        [0.38752654, 0.62144744, -0.00897398],
        [-0.01584150, -0.03412294, 1.04996444],
    ]

    np.testing.assert_allclose(np.linalg.inv(CONES["cat16"]), published, atol=1e-7)


@pytest.mark.oracle
def test_bradford_from_d65_to_d50_is_the_one_in_common_use():
    """As colour-space tables print it, from whites of ASTM E308 (common practice, no source)."""
    published = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]

    np.testing.assert_allclose(adaptation_matrix(D65, D50, "bradford"), published, atol=3e-4)
