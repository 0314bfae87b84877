"""Scopes against published code values, counts that must add up, and known colours."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenhand.colourmath.ycbcr import MATRICES
from evenhand.errors import UsageError
from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.planes import planes_to_signal
from evenhand.measure.graticule import bar_targets
from evenhand.measure.scopes import (
    CHROMA_VALUE,
    LEVEL_PERCENT,
    measure_scopes,
)

# 75 % colour bars, 10-bit Y′, Cb, Cr: SMPTE RP 219-2 for BT.709; BT.2020 by the equations of
# ITU-R BT.2020-2 table 4, as two independent implementations print them.
BARS = {
    "bt709": {
        "white": (721, 512, 512),
        "yellow": (674, 176, 543),
        "cyan": (581, 589, 176),
        "green": (534, 253, 207),
        "magenta": (251, 771, 817),
        "red": (204, 435, 848),
        "blue": (111, 848, 481),
    },
    "bt2020": {
        "white": (721, 512, 512),
        "yellow": (682, 176, 539),
        "cyan": (548, 606, 176),
        "green": (509, 270, 203),
        "magenta": (276, 754, 821),
        "red": (237, 418, 848),
        "blue": (103, 848, 485),
    },
}
RGB = {
    "white": (1, 1, 1),
    "yellow": (1, 1, 0),
    "cyan": (0, 1, 1),
    "green": (0, 1, 0),
    "magenta": (1, 0, 1),
    "red": (1, 0, 0),
    "blue": (0, 0, 1),
}
CASES = [(matrix, name) for matrix in BARS for name in RGB]


def flat(colour: tuple[float, ...], size: tuple[int, int] = (4, 6)) -> np.ndarray:
    return np.full((*size, 3), colour, np.float32)


def where(counts: np.ndarray) -> list[int]:
    return np.flatnonzero(counts).tolist()


def measure_planes(planes, bits: int, matrix: str, code_range: str):
    """Scopes of a picture as decoded."""
    y, cb, cr = planes
    sub = round(y.shape[1] / cb.shape[1]), round(y.shape[0] / cb.shape[0])
    source = PlaneFormat(bits, *sub, code_range == "full")
    return measure_scopes(planes_to_signal((y, cb, cr), source, MATRICES[matrix]), matrix)


@pytest.mark.oracle
@pytest.mark.parametrize(("matrix", "name"), CASES)
def test_a_bar_lands_on_its_published_codes(matrix: str, name: str) -> None:
    """75 % R'G'B' shows the published luma code, and chroma in the cell of the published codes."""
    y, cb, cr = BARS[matrix][name]

    scopes = measure_scopes(flat(tuple(0.75 * c for c in RGB[name])), matrix)

    assert where(scopes.luma.sum(axis=0)) == [y]
    assert where(scopes.vectorscope.sum(axis=0)) == [pytest.approx(cb / 4, abs=0.63)]
    assert where(scopes.vectorscope.sum(axis=1)) == [pytest.approx(cr / 4, abs=0.63)]


@pytest.mark.oracle
@pytest.mark.parametrize(("matrix", "name"), CASES)
def test_published_codes_show_75_percent(matrix: str, name: str) -> None:
    """Planes of the published codes give channels of 0 and 75 %, to the rounding of the codes."""
    planes = tuple(np.full((4, 6), code, np.uint16) for code in BARS[matrix][name])

    scopes = measure_planes(planes, 10, matrix, "narrow")

    for channel, share in zip(scopes.parade, RGB[name], strict=True):
        level = LEVEL_PERCENT[where(channel.sum(axis=0))]
        assert level == pytest.approx([75.0 * share], abs=0.25)


@pytest.mark.oracle
@pytest.mark.parametrize("matrix", BARS)
def test_targets_are_the_published_codes(matrix: str) -> None:
    """The boxes of the vectorscope sit on the published chroma codes."""
    for name, (cb, cr) in bar_targets(matrix).items():
        published = BARS[matrix][name][1:]
        assert (np.array([cb, cr]) * 896 + 512) == pytest.approx(published, abs=0.51)


def test_a_ramp_is_a_straight_diagonal() -> None:
    """A grey ramp from black to white rises by the same number of codes in every column."""
    ramp = np.linspace(0, 1, 438, dtype=np.float32)[None, :, None].repeat(5, 0).repeat(3, 2)

    scopes = measure_scopes(ramp)

    rise = [where(column) for column in scopes.luma]
    expected = np.linspace(64, 940, 438)
    assert all(len(levels) == 1 for levels in rise)
    assert np.abs(np.array(rise)[:, 0] - expected).max() <= 0.5
    assert np.array_equal(scopes.parade, scopes.luma[None].repeat(3, 0))


@settings(max_examples=30, deadline=None)
@given(
    picture=arrays(
        np.float32,
        st.tuples(st.integers(1, 9), st.integers(1, 700), st.just(3)),
        elements=st.floats(-0.5, 1.5, width=32),
        fill=st.just(0.25),
    ),
    columns=st.integers(1, 64),
)
def test_every_pixel_is_counted_once(picture: np.ndarray, columns: int) -> None:
    """Whatever the size and the levels, each scope holds as many counts as there are pixels."""
    pixels = picture.shape[0] * picture.shape[1]

    scopes = measure_scopes(picture, columns=columns)

    assert (scopes.histogram.sum(axis=1) == pixels).all()
    assert scopes.vectorscope.sum(dtype=np.int64) == pixels
    assert scopes.waveform.shape[1] <= columns


def test_the_histogram_is_that_of_the_array_library() -> None:
    """Channel counts equal NumPy's own histogram of the rounded codes."""
    rng = np.random.default_rng(3)
    picture = rng.uniform(-0.05, 1.08, (40, 130, 3)).astype(np.float32)

    found = measure_scopes(picture).histogram

    for channel in range(3):
        codes = np.floor(picture[..., channel].astype(np.float64) * 876 + 64.5)
        expected = np.bincount(codes.astype(int).ravel(), minlength=1024)
        assert np.abs(found[channel + 1].astype(int) - expected).sum() <= 2  # float32 on a half


def test_columns_follow_the_picture() -> None:
    """A white bar on the left third is in the left third of the columns, in each channel."""
    picture = flat((0.0, 0.0, 0.0), (3, 900))
    picture[:, :300] = (1.0, 0.5, 0.25)

    scopes = measure_scopes(picture, columns=450)

    red, green, blue = scopes.parade
    assert where(red[:, 940]) == list(range(150))
    assert where(green[:, 502]) == list(range(150))
    assert where(blue[:, 283]) == list(range(150))


def test_numbers_of_a_picture_made_of_known_shares() -> None:
    """Shares outside the limits of EBU R 103 and at the ends are those the picture was made of."""
    picture = flat((0.5, 0.5, 0.5), (10, 100))
    picture[0] = (1.2, 1.2, 1.2)  # 10 %: above 105 %, above 100 %, white
    picture[1] = (1.02, 0.5, 0.5)  # 10 %: above 100 %, pinned
    picture[2] = (-0.1, 0.3, 0.3)  # 10 %: below −5 %
    picture[3] = (0.0, 0.0, 0.0)  # 10 %: black
    picture[4, :50] = (-0.02, 0.2, 0.2)  # 5 %: below 0 %

    numbers = measure_scopes(picture).numbers

    assert numbers.above_preferred == pytest.approx(10)
    assert numbers.above_white == pytest.approx(20)
    assert numbers.below_preferred == pytest.approx(10)
    assert numbers.below_black == pytest.approx(15)
    assert (numbers.black, numbers.white) == pytest.approx((10, 10))
    assert (numbers.pinned_low, numbers.pinned_high) == pytest.approx((25, 20))
    assert numbers.luma_percentiles["50"] == pytest.approx(50, abs=0.06)
    assert numbers.luma_percentiles["99"] == pytest.approx(109.5, abs=0.06)


@pytest.mark.oracle
def test_limits_are_the_codes_of_the_recommendation() -> None:
    """EBU R 103 v3.0: 10-bit codes 20 to 984 are within, 19 and 985 are not."""

    def outside(code: int) -> tuple[float, float]:
        planes = (np.full((2, 2), code, np.uint16), *[np.full((1, 1), 512, np.uint16)] * 2)
        numbers = measure_planes(planes, 10, "bt709", "narrow").numbers
        return numbers.below_preferred, numbers.above_preferred

    assert [outside(c) for c in (19, 20, 984, 985)] == [(100, 0), (0, 0), (0, 0), (0, 100)]


def test_saturation_of_full_bars_is_their_distance_from_the_centre() -> None:
    """100 % green lies at 0.446 · 4/3 · 2 of the span of one chroma axis."""
    numbers = measure_scopes(flat((0.0, 1.0, 0.0))).numbers

    cb, cr = bar_targets("bt709", 1.0)["green"]
    expected = 200 * float(np.hypot(cb, cr))
    assert numbers.saturation_percentiles["50"] == pytest.approx(expected, abs=0.11)


@pytest.mark.parametrize("down", [(1, 1), (1, 2), (2, 2)])
def test_planes_with_any_chroma_size_give_the_same_numbers(down: tuple[int, int]) -> None:
    """Chroma that is even over its pixels reads the same at 4:4:4, 4:2:2 and 4:2:0, 8 or 10 bit."""
    luma = np.arange(40, 200, 2, np.uint8).reshape(8, 10)
    cb, cr = np.full((8, 10), 100, np.uint8), np.full((8, 10), 160, np.uint8)
    small = tuple(p[:: down[0], :: down[1]] for p in (cb, cr))

    eight = measure_planes((luma, *small), 8, "bt709", "narrow")
    ten = measure_planes(
        tuple(p.astype(np.uint16) * 4 for p in (luma, cb, cr)), 10, "bt709", "narrow"
    )

    assert np.array_equal(eight.waveform, ten.waveform)
    assert np.array_equal(eight.vectorscope, ten.vectorscope)
    assert CHROMA_VALUE[where(eight.vectorscope.sum(axis=0))] == pytest.approx([-28 / 224])


def test_a_matrix_without_luma_is_refused() -> None:
    """A name that is no luma matrix is answered with those that are."""
    with pytest.raises(UsageError, match="bt2020"):
        measure_scopes(flat((0, 0, 0)), "rgb")
