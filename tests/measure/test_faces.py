"""What the face network is shown and how its numbers are read, with networks that are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.measure.skin.faces import (
    CELLS,
    LEAST_SCORE,
    SIDE,
    Picture,
    decoded,
    find_faces,
    merged,
    network_input,
    squares,
)


def bright_spot_network(shown: Picture) -> tuple[np.ndarray, np.ndarray]:
    """A network that sees a face wherever there is a white block: its box is the block's bounds."""
    raw, logits = np.zeros((CELLS**2, 16)), np.full(CELLS**2, -9.0)
    white = np.argwhere(shown[0].min(axis=0) > 0.5)
    if white.size:
        (top, left), (bottom, right) = white.min(axis=0), white.max(axis=0) + 1
        middle, size = ((left + right) / 2, (top + bottom) / 2), (right - left, bottom - top)
        column, row = (min(CELLS - 1, int(v * CELLS / SIDE)) for v in middle)
        cell = np.array([column + 0.5, row + 0.5]) * SIDE / CELLS
        raw[row * CELLS + column] = np.tile(np.array(middle) - cell, 8)
        raw[row * CELLS + column, 2:4] = size
        logits[row * CELLS + column] = 3.0
    return raw, logits


@given(
    st.tuples(st.integers(80, 500), st.integers(80, 500)),
    st.tuples(st.floats(0.2, 0.7), st.floats(0.2, 0.7)),
)
def test_a_face_is_found_where_it_is_in_a_picture_of_any_shape(
    size: tuple[int, int], at: tuple[float, float]
) -> None:
    """Landscape, portrait or square: each look at the picture leads to one box, at its place."""
    height, width = size
    side = max(12, min(size) // 6)
    top, left = round(at[1] * height), round(at[0] * width)
    picture = np.full((height, width, 3), 0.1, np.float32)
    picture[top : top + side, left : left + side] = 1.0
    bottom, right = min(top + side, height), min(left + side, width)

    (face,) = find_faces(picture, bright_spot_network)  # one, though some squares cut it

    pixel = max(size) / SIDE  # of the network's square, in pixels of the picture
    found = np.array(face.box) * [width, height, width, height]
    assert found == pytest.approx([left, top, right - left, bottom - top], abs=3 * pixel)
    nose = np.array(face.points[2]) * [width, height]
    assert nose == pytest.approx([(left + right) / 2, (top + bottom) / 2], abs=2 * pixel)


def test_a_picture_without_a_face_has_none() -> None:
    """A network that sees nothing gives nothing, whatever the shape of the picture."""
    for shape in ((90, 160, 3), (160, 90, 3), (8, 300, 3), (1, 1, 3)):
        assert find_faces(np.zeros(shape, np.float32), bright_spot_network) == ()


@pytest.mark.parametrize(("height", "width"), [(1080, 1920), (1920, 1080), (480, 480), (90, 400)])
def test_the_squares_cover_the_picture(height: int, width: int) -> None:
    """The first holds all of it; the others lie inside and leave nothing out."""
    whole, *others = squares(height, width)
    assert whole[2] == max(height, width)
    seen = np.zeros((height, width), bool)
    for left, top, side in others:
        assert 0 <= left <= width - side + 1e-9
        assert 0 <= top <= height - side + 1e-9
        seen[round(top) : round(top + side), round(left) : round(left + side)] = True
    assert seen.all() if others else height == width


def test_what_is_outside_the_picture_is_black() -> None:
    """A letterboxed white picture: white in the middle rows, black (−1) above and below."""
    shown = network_input(np.ones((90, 160, 3), np.float32), squares(90, 160)[0])

    assert shown.shape == (1, 3, SIDE, SIDE)
    rows = shown[0, 0, :, SIDE // 2]
    edge = SIDE * (160 - 90) / 2 / 160
    assert (rows[: int(edge) - 1] == -1).all()
    assert (rows[int(edge) + 1 : SIDE - int(edge) - 1] == 1).all()
    assert (rows[SIDE - int(edge) + 1 :] == -1).all()


def test_numbers_of_a_cell_are_read_as_they_are_meant() -> None:
    """Offsets count from the middle of the cell in pixels; the logistic function gives scores."""
    raw, logits = np.zeros((CELLS**2, 16)), np.full(CELLS**2, -100.0)
    cell = 10 * CELLS + 20  # row 10, column 20: middle at x 82, y 42 of 192
    raw[cell, :6] = (2.0, -4.0, 48.0, 24.0, 1.0, 1.0)
    logits[cell] = np.log(0.9 / 0.1)

    boxes, scores = decoded(raw, logits)

    assert scores == pytest.approx([0.9])
    assert boxes[0, 0] * SIDE == pytest.approx([84.0, 38.0])
    assert boxes[0, 1] * SIDE == pytest.approx([48.0, 24.0])
    assert boxes[0, 2] * SIDE == pytest.approx([83.0, 43.0])


def test_weak_scores_and_boxes_that_are_none_are_left_out() -> None:
    """Below the least score, without a size, or not a number."""
    raw, logits = np.zeros((CELLS**2, 16)), np.full(CELLS**2, -100.0)
    raw[:4, 2:4] = 20.0
    raw[1, 2] = -5.0
    raw[2, 0] = np.nan
    logits[:4] = 4.0
    logits[3] = np.log(LEAST_SCORE / (1 - LEAST_SCORE)) - 0.01

    boxes, scores = decoded(raw, logits)

    assert len(boxes) == len(scores) == 1


def test_boxes_of_one_face_become_one_and_two_faces_stay_two() -> None:
    """The mean of those that overlap by more than 30 %, weighted by score; the rest apart."""
    boxes = np.zeros((3, 8, 2))
    boxes[:, 0] = [(50, 50), (54, 50), (150, 50)]
    boxes[:, 1] = 40

    kept = merged(boxes, np.array([0.9, 0.6, 0.7]))

    assert [score for _, score in kept] == [0.9, 0.7]
    assert kept[0][0][0] == pytest.approx([(0.9 * 50 + 0.6 * 54) / 1.5, 50.0])
    assert kept[1][0][0] == pytest.approx([150.0, 50.0])
