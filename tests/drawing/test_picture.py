"""Pictures for the page keep the light of the display that they were made for."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evenhand.drawing.picture import picture_jpeg, picture_png, stamp, to_page


def flat(value: float, size: tuple[int, int] = (4, 6)) -> np.ndarray:
    return np.full((*size, 3), value, np.float32)


@pytest.mark.oracle
def test_signal_is_coded_anew_as_srgb_of_the_same_light() -> None:
    """BT.1886 light through colour-science's sRGB (IEC 61966-2-1), to half a code."""
    colour = pytest.importorskip("colour")
    signal = np.linspace(0, 1, 256, dtype=np.float32)
    wanted = 255 * colour.models.eotf_inverse_sRGB(
        colour.models.eotf_BT1886(signal.astype(np.float64))
    )
    got = to_page(np.repeat(signal[None, :, None], 3, axis=2), None)[0, :, 0]
    assert np.abs(got - wanted).max() <= 0.501


def test_values_outside_the_range_are_clipped() -> None:
    """Superwhite and sub-black have no place in an 8-bit picture."""
    assert to_page(flat(1.09)).max() == 255
    assert to_page(flat(-0.07)).min() == 0


def test_scaling_is_done_in_light() -> None:
    """A fine black and white pattern becomes half of white's light: sRGB code 188."""
    pattern = np.indices((64, 64)).sum(axis=0) % 2
    signal = np.repeat(pattern[..., None], 3, axis=2).astype(np.float32)
    assert np.unique(to_page(signal, 16)).tolist() == [188]


@pytest.mark.parametrize(
    ("size", "shown"), [((540, 1920), (270, 960)), ((1920, 1080), (960, 540)), ((30, 40), (30, 40))]
)
def test_the_longer_side_fits_the_page(size: tuple[int, int], shown: tuple[int, int]) -> None:
    """Large pictures are made smaller, small ones are left as they are."""
    assert to_page(flat(0.5, size)).shape == (*shown, 3)


def test_channels_come_back_in_order() -> None:
    """Red stays red through both kinds of file."""
    signal = np.zeros((16, 16, 3), np.float32)
    signal[..., 0] = 1.0
    for picture, mime in ((picture_png(signal), "image/png"), (picture_jpeg(signal), "image/jpeg")):
        assert (picture.mime, picture.width, picture.height) == (mime, 16, 16)
        pixels = cv2.imdecode(np.frombuffer(picture.data, np.uint8), cv2.IMREAD_COLOR_RGB)
        assert np.abs(pixels[8, 8].astype(int) - (255, 0, 0)).max() <= 3


def test_a_stamp_keeps_the_shape() -> None:
    """A small copy has the height asked for and the same sides."""
    small = stamp(picture_jpeg(flat(0.5, (90, 160))), 45)
    assert (small.width, small.height) == (80, 45)
