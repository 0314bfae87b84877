"""Traces lie on their graticules."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.drawing import canvas
from evenhand.drawing.scopes import (
    draw_histogram,
    draw_parade,
    draw_vectorscope,
    draw_waveform,
    scope_png,
    scope_set,
)
from evenhand.measure.graticule import skin_line
from evenhand.measure.scopes import Scopes, measure_scopes

# 75 % bars, BT.709, 10-bit Y, Cb, Cr: ITU-R BT.1729 / SMPTE RP 219 patches as published.
BARS_75 = {
    "Yl": (674, 176, 543),
    "Cy": (581, 589, 176),
    "G": (534, 253, 207),
    "Mg": (251, 771, 817),
    "R": (204, 435, 848),
    "B": (111, 848, 481),
}


def flat(level: float) -> Scopes:
    return measure_scopes(np.full((64, 128, 3), level, np.float32))


def rows_of(pixels: NDArray[np.uint8], colour: canvas.Colour, column: int) -> list[int]:
    return np.flatnonzero((pixels[:, column] == colour).all(axis=1)).tolist()


def brightest_row(pixels: NDArray[np.uint8], column: int) -> int:
    return int(pixels[:, column].sum(axis=1, dtype=np.int64).argmax())


@pytest.mark.parametrize("level", [0.1, 0.25, 0.5, 0.9])
def test_a_flat_picture_draws_its_line_between_the_lines_of_0_and_100_percent(
    level: float,
) -> None:
    """The trace lies at its share of the way from the 0 % to the 100 % line, to 1.5 pixels."""
    pixels = draw_waveform(flat(level))
    column = 400
    empty = draw_waveform(flat(2.0))  # all of it is above the top, so both lines are free
    top, bottom = rows_of(empty, canvas.STRONG, column)
    wanted = bottom + level * (top - bottom)
    assert brightest_row(pixels, column) == pytest.approx(wanted, abs=1.5)


def test_the_parade_shows_each_channel_at_its_own_height() -> None:
    """R′ at 80 %, G′ at 50 %, B′ at 20 %, from left to right."""
    signal = np.broadcast_to(np.float32([0.8, 0.5, 0.2]), (64, 128, 3))
    pixels = draw_parade(measure_scopes(signal))
    heights = [brightest_row(pixels, column) for column in (200, 440, 670)]
    assert heights == sorted(heights)
    spacing = np.diff(heights)
    assert abs(int(spacing[0]) - int(spacing[1])) <= 2


def test_a_single_pixel_is_seen() -> None:
    """One bright pixel in a dark picture leaves a trace that can be made out."""
    signal = np.full((270, 480, 3), 0.1, np.float32)
    signal[100, 240] = 0.9
    plain = draw_waveform(measure_scopes(np.full((270, 480, 3), 0.1, np.float32)))
    difference = draw_waveform(measure_scopes(signal)).astype(int) - plain
    assert difference.max() >= 24


@pytest.mark.oracle
@pytest.mark.parametrize("name", BARS_75)
def test_bars_land_in_their_targets(name: str) -> None:
    """Published 75 % bar codes lie at their Cb, Cr, measured by the drawn 100 % circle."""
    luma, cb, cr = (
        (c - o) / g for c, o, g in zip(BARS_75[name], (64, 512, 512), (876, 896, 896), strict=True)
    )
    red, blue = luma + 1.5748 * cr, luma + 1.8556 * cb  # BT.709
    green = (luma - 0.2126 * red - 0.0722 * blue) / 0.7152
    pixels = draw_vectorscope(
        measure_scopes(np.broadcast_to(np.float32([red, green, blue]), (64, 64, 3)))
    )
    blank = draw_vectorscope(flat(0.5))
    middle = blank.shape[0] // 2
    # The leftmost line that the row 60 pixels down crosses is the 100 % circle.
    crossing = int(np.flatnonzero(blank[middle + 60].max(axis=1) > 50)[0])
    radius = math.hypot(middle - crossing, 60)
    x, y = middle + cb / 0.5 * radius, middle - cr / 0.5 * radius
    lit = (pixels.astype(int) - blank).sum(axis=2)
    lit[middle - 12 : middle + 12, middle - 12 : middle + 12] = 0
    row, column = np.unravel_index(int(lit.argmax()), lit.shape)
    assert (column, row) == (pytest.approx(x, abs=3), pytest.approx(y, abs=3))


@pytest.mark.parametrize(
    ("name", "degrees"), [("bt709", 121.5), ("hlg", 134.5), ("pq", 136.0), ("phone-log-1", 136.0)]
)
def test_the_skin_line_stands_at_the_angle_of_its_encoding(name: str, degrees: float) -> None:
    """Spectra of published skins under D65: 120° to 123° in BT.709, 132° to 138° in BT.2020."""
    signal = np.full((8, 8, 3), 0.5, np.float32)
    scopes = measure_scopes(signal, ENCODINGS[name].matrix)
    pixels = draw_vectorscope(scopes, skin_line(ENCODINGS[name]))
    middle = pixels.shape[0] // 2
    # Only the line: what differs from the picture without one.
    drawn = np.argwhere((pixels != draw_vectorscope(scopes)).any(axis=2))
    up, across = middle - drawn[:, 0], drawn[:, 1] - middle
    away = np.hypot(up, across)
    line = (away > 40) & (away < 180)
    assert line.sum() > 20
    angle = np.degrees(np.arctan2(up[line], across[line]))
    assert angle.mean() == pytest.approx(degrees, abs=0.4)
    assert np.abs(angle - degrees).max() < 3


def test_the_histogram_peaks_at_the_level_of_the_picture() -> None:
    """A picture at 50 % makes a hill in the middle between 0 % and 100 %."""
    pixels = draw_histogram(flat(0.5))
    empty = draw_histogram(flat(2.0))
    row = 200
    lines = np.flatnonzero((empty[row] == canvas.STRONG).all(axis=1))
    hill = np.flatnonzero(pixels[row].max(axis=1) > 150)
    assert hill.mean() == pytest.approx((lines[0] + lines[-1]) / 2, abs=4)


def test_files_are_pictures() -> None:
    """The PNG decodes to the very pixels drawn; the page's set is whole."""
    rng = np.random.default_rng(3)
    scopes = measure_scopes(rng.random((120, 200, 3), dtype=np.float32))
    drawn = draw_waveform(scopes)
    back = cv2.imdecode(np.frombuffer(scope_png(drawn), np.uint8), cv2.IMREAD_COLOR_RGB)
    np.testing.assert_array_equal(back, drawn)
    found = scope_set(scopes, with_parade=True)
    for picture in (found.waveform, found.parade, found.histogram, found.vectorscope):
        assert picture is not None
        assert picture.mime == "image/webp"
    assert [f.label for f in found.figures][1] == "Median luma"
