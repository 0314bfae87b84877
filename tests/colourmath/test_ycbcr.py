"""Y'CbCr codes against the bars of RP 219 and BT.2100."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.ycbcr import MATRICES, to_codes, to_rgb

WHITE, YELLOW, CYAN, GREEN = (1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0)
MAGENTA, RED, BLUE = (1, 0, 1), (1, 0, 0), (0, 0, 1)
BARS = 0.75 * np.array([WHITE, YELLOW, CYAN, GREEN, MAGENTA, RED, BLUE], float)


# 75 % bars, 10 bit narrow. BT.709: SMPTE RP 219-2. BT.601: the same calculation, agreeing with
# colour-science. BT.2020: BT.2100 table 6 coefficients, agreeing with colour-science.
@pytest.mark.parametrize(
    ("matrix", "codes"),
    [
        (
            "bt709",
            [
                (721, 512, 512),
                (674, 176, 543),
                (581, 589, 176),
                (534, 253, 207),
                (251, 771, 817),
                (204, 435, 848),
                (111, 848, 481),
            ],
        ),
        (
            "bt2020",
            [
                (721, 512, 512),
                (682, 176, 539),
                (548, 606, 176),
                (509, 270, 203),
                (276, 754, 821),
                (237, 418, 848),
                (103, 848, 485),
            ],
        ),
        (
            "bt601",
            [
                (721, 512, 512),
                (646, 176, 567),
                (525, 625, 176),
                (450, 289, 231),
                (335, 735, 793),
                (260, 399, 848),
                (139, 848, 457),
            ],
        ),
    ],
)
def test_bars_have_the_published_codes(matrix, codes):
    """75 % bars land on the published 10-bit codes, rounded half up."""
    found = np.floor(to_codes(BARS, 10, matrix, "narrow") + 0.5)

    np.testing.assert_array_equal(found, codes)


@pytest.mark.parametrize(
    ("bits", "luma", "chroma"),
    [(8, (16, 126, 235), (16, 128, 240)), (12, (256, 2008, 3760), (256, 2048, 3840))],
)
def test_other_depths_scale_the_codes(bits, luma, chroma):
    """BT.2100 table 9 at 8 and 12 bits: black, half and white; least, no and most Cb."""
    greys = to_codes([[0.0] * 3, [0.5] * 3, [1.0] * 3], bits, "bt709", "narrow")
    blues = to_codes([YELLOW, WHITE, BLUE], bits, "bt709", "narrow")

    assert tuple(np.floor(greys[:, 0] + 0.5)) == luma
    assert tuple(np.floor(blues[:, 1] + 0.5)) == chroma


def test_full_range_uses_all_codes():
    """Full range: white is the last code, no chroma is half of 2^n (H.273 section 8.3)."""
    white = to_codes(WHITE, 8, "bt601", "full")

    np.testing.assert_allclose(white, [255.0, 128.0, 128.0], atol=1e-9)


def test_rgb_planes_take_the_luma_scale():
    """Matrix "rgb" means three planes R', G', B' on the luma scale."""
    np.testing.assert_allclose(to_codes(RED, 10, "rgb", "narrow"), [940.0, 64.0, 64.0])


@settings(deadline=None)
@given(
    codes=st.tuples(*[st.integers(0, 1023)] * 3),
    matrix=st.sampled_from(list(MATRICES)),
    code_range=st.sampled_from(["narrow", "full"]),
)
def test_codes_survive_the_round_trip(codes, matrix, code_range):
    """Codes to signal and back are the same codes, inside the nominal range and outside."""
    back = to_codes(to_rgb(codes, 10, matrix, code_range), 10, matrix, code_range)

    np.testing.assert_allclose(back, codes, atol=1e-9)
