"""Conversions between planes, and planes to signal, against NumPy and a colour library."""

from __future__ import annotations

import colour
import kernel_reference as reference
import numpy as np
import pytest

from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.layout import TILE
from evenhand.kernels.planes import convert_planes, planes_to_signal, split_semi_planar

BT709 = (0.2126, 0.0722)
BT2020 = (0.2627, 0.0593)
MIDDLE = PlaneFormat(16, 1, 1)
TARGETS = [PlaneFormat(b, *s) for b in (8, 10) for s in ((2, 2), (2, 1), (1, 1))]


def picture(form, height, width, seed=0):
    """Planes of random codes over the whole range of the format."""
    rng = np.random.default_rng(seed)
    shapes = ((height, width), *[form.chroma_shape(height, width)] * 2)
    return tuple(rng.integers(0, 2**form.bits, s).astype(form.dtype) for s in shapes)


def converted(planes, source, target, **how):
    out = target.empty(*planes[0].shape)
    convert_planes(planes, source, out, target, **how)
    return out


def ten_bit(planes, form):
    """Planes of any format -> (h, w, 3) of 10-bit narrow codes, unrounded."""
    return reference.full_size(planes, form) * (876.0, 896.0, 896.0) + (64.0, 512.0, 512.0)


@pytest.mark.oracle
@pytest.mark.parametrize("size", [(1, 1), (6, 8), (7, 13), (3, TILE + 1)], ids=str)
@pytest.mark.parametrize("target", TARGETS, ids=str)
@pytest.mark.parametrize("source", [MIDDLE, PlaneFormat(10, 2, 2), PlaneFormat(8, 2, 1, True)])
def test_conversion_is_that_of_the_definition(source, target, size):
    """Depth, range and subsampling change to the float64 result, rounded to the nearest."""
    planes = picture(source, *size)
    expected = reference.to_planes(ten_bit(planes, source), target)
    for plane, exact in zip(converted(planes, source, target), expected, strict=True):
        assert np.abs(plane.astype(float) - exact).max() <= 0.5 + 1e-3


def test_the_same_format_is_a_copy():
    """4:4:4 to itself changes nothing, codes that narrow range reserves excepted."""
    form = PlaneFormat(10, 1, 1)
    planes = tuple(np.clip(p, 4, 1019) for p in picture(form, 5, 9))
    for plane, same in zip(converted(planes, form, form), planes, strict=True):
        np.testing.assert_array_equal(plane, same)


def test_dither_keeps_the_mean_of_what_is_between_codes():
    """16-bit values between two 8-bit codes keep their mean, in luma and in 4:2:0 chroma."""
    planes = tuple(np.full((64, 512), 100 * 256 + 77, np.uint16) for _ in range(3))
    for plane in converted(planes, MIDDLE, PlaneFormat(8, 2, 2), dither=True, frame=5):
        assert plane.mean() == pytest.approx(100 + 77 / 256, abs=4 * 0.5 / np.sqrt(plane.size))
        assert plane.std() == pytest.approx(0.5, rel=0.05)


def test_threads_do_not_change_the_picture():
    """One thread and three give the same bits."""
    planes = picture(MIDDLE, 23, 31)
    target = PlaneFormat(8, 2, 2)
    one, three = (
        converted(planes, MIDDLE, target, dither=True, threads=threads) for threads in (1, 3)
    )
    for a, b in zip(one, three, strict=True):
        np.testing.assert_array_equal(a, b)


@pytest.mark.oracle
@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("kr_kb", [BT709, BT2020], ids=["BT.709", "BT.2020"])
def test_signal_is_that_of_a_colour_library(kr_kb, full):
    """4:4:4 codes become the R'G'B' that colour-science gives for the same matrix and range."""
    form = PlaneFormat(10, 1, 1, full)
    planes = picture(form, 6, 7)
    expected = colour.YCbCr_to_RGB(
        np.stack(planes, -1).astype(float),
        K=np.array(kr_kb), in_bits=10, in_legal=not full, in_int=True, out_legal=False,
        out_int=False, clamp_int=False,
    )  # fmt: skip
    np.testing.assert_allclose(planes_to_signal(planes, form, kr_kb), expected, atol=2e-6)


@pytest.mark.oracle
@pytest.mark.parametrize("form", [PlaneFormat(10), PlaneFormat(8, 2, 1, True)], ids=str)
@pytest.mark.parametrize("size", [(1, 1), (7, 9), (4, TILE + 6)], ids=str)
def test_full_size_signal_has_its_chroma_sited(form, size):
    """Subsampled planes become the float64 definition's signal, whatever the threads."""
    planes = picture(form, *size)
    expected = reference.to_signal(reference.full_size(planes, form), BT2020)
    for threads in (1, 2):
        got = planes_to_signal(planes, form, BT2020, threads=threads)
        np.testing.assert_allclose(got, expected, atol=3e-6)


@pytest.mark.parametrize("step", [2, 4, 6])
@pytest.mark.parametrize("form", [PlaneFormat(10, 2, 2), PlaneFormat(8, 2, 1)], ids=str)
def test_reduced_signal_is_the_mean_over_boxes(form, step):
    """Each value is the signal of the mean codes of its box; rests at the edges are left out."""
    planes = picture(form, 27, 38)
    rows, columns = 27 // step, 38 // step
    means = []
    for plane, across, down in zip(
        planes, (1, form.sub_x, form.sub_x), (1, form.sub_y, form.sub_y), strict=True
    ):
        high, wide = step // down, step // across
        part = plane[: rows * high, : columns * wide].astype(float)
        means.append(part.reshape(rows, high, columns, wide).mean(axis=(1, 3)))
    luma_span, black, chroma_span, neutral = reference.scales(form)
    ycc = (np.stack(means, -1) - (black, neutral, neutral)) / (luma_span, chroma_span, chroma_span)
    got = planes_to_signal(planes, form, BT709, step)
    assert got.shape == (rows, columns, 3)
    np.testing.assert_allclose(got, reference.to_signal(ycc, BT709), atol=2e-6)


def test_steps_that_cut_chroma_samples_are_refused():
    """An odd step over subsampled chroma, and one larger than the picture, are named."""
    planes = picture(PlaneFormat(10), 8, 8)
    for step in (0, 3, 10):
        with pytest.raises(ValueError, match="step"):
            planes_to_signal(planes, PlaneFormat(10), BT709, step)


def test_semi_planar_pictures_are_taken_apart():
    """Interleaved chroma, with codes at the top of 16-bit words or at the bottom of bytes."""
    y, u, v = picture(PlaneFormat(10), 4, 6)
    pairs = np.stack([u, v], -1).reshape(2, 6)
    for got, same in zip(
        split_semi_planar(y << 6, pairs << 6, 10, high_bits=True), (y, u, v), strict=True
    ):
        np.testing.assert_array_equal(got, same)
        assert got.flags.c_contiguous
    y, u, v = picture(PlaneFormat(8), 4, 6)
    pairs = np.stack([u, v], -1).reshape(2, 6)
    for got, same in zip(split_semi_planar(y, pairs, 8, high_bits=False), (y, u, v), strict=True):
        np.testing.assert_array_equal(got, same)
