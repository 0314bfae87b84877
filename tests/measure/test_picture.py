"""Statistics of pictures before anybody knows what their codes mean."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.transfers import TRANSFERS
from evenhand.colourmath.ycbcr import to_codes
from evenhand.measure.identity.picture import measure_pictures

Planes = tuple[Any, Any, Any]


def flat(luma: Any, bits: int = 10, cb: float = 0.0, cr: float = 0.0) -> Planes:
    """4:2:0 planes with even chroma, given as a share of ±0.5."""
    luma = np.asarray(luma)
    dtype = np.uint8 if bits == 8 else np.uint16
    step = 1 << (bits - 8)
    size = -(-luma.shape[0] // 2), -(-luma.shape[1] // 2)
    chroma = [np.full(size, round(128 * step + 224 * step * c), dtype) for c in (cb, cr)]
    return luma.astype(dtype), chroma[0], chroma[1]


def test_levels_are_ten_bit_codes() -> None:
    """8-bit codes count four times, so that one scale serves all clips."""
    ramp = np.tile(np.arange(256), (64, 1))

    eight = measure_pictures([flat(ramp, 8)], 8)
    ten = measure_pictures([flat(ramp * 4, 10)], 10)

    assert eight == ten
    assert eight.middle == pytest.approx(508, abs=4)
    assert (eight.floor, eight.ceiling) == (0.0, pytest.approx(1016, abs=4))


def test_shares_at_the_ends() -> None:
    """Dark, outside and white are counted by their codes."""
    luma = np.full((100, 200), 500)
    luma[:10] = 149
    luma[10:14] = 40
    luma[14:20] = 940

    stats = measure_pictures([flat(luma)], 10)

    assert stats.dark == pytest.approx(0.14)
    assert stats.outside == pytest.approx(0.04)
    assert stats.white == pytest.approx(0.06)


def test_saturation_is_distance_from_grey() -> None:
    """A colour at 0.3 and -0.4 of the half scale is at 0.5 of the scale of ±1."""
    assert measure_pictures([flat(np.full((64, 64), 500))], 10).saturation == 0.0
    stats = measure_pictures([flat(np.full((64, 64), 500), cb=0.15, cr=-0.2)], 10)
    assert stats.saturation == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("shape", [(2160, 3840), (37, 61), (16, 16)])
def test_any_size(shape: tuple[int, int]) -> None:
    """Large pictures are thinned and odd ones are not cut wrongly."""
    draw = np.random.default_rng(3)
    luma = draw.integers(200, 801, shape)

    stats = measure_pictures([flat(luma)], 10)

    assert stats.middle == pytest.approx(500, abs=60)


def test_pictures_are_pooled() -> None:
    """Two pictures count as one of twice the size."""
    dark, light = flat(np.full((64, 64), 100)), flat(np.full((64, 64), 800))

    stats = measure_pictures([dark, light], 10)

    assert (stats.pictures, stats.dark) == (2, 0.5)


def test_clip_level_is_found() -> None:
    """Highlights that pile up are found within the window of codes that is looked at (±4)."""
    draw = np.random.default_rng(5)
    luma = draw.normal(500, 90, (300, 400)).clip(200, 760)
    luma[:20, :40] = 820

    stats = measure_pictures([flat(luma)], 10)

    assert stats.clip_code == pytest.approx(820, abs=4)


def test_impossible_colours() -> None:
    """The second generation's green and blue lie outside the spectral locus (CIE 1931); no colour
    of BT.2020, whose primaries are monochromatic lights, does."""
    inside, outside = _picture("bt2020"), _picture("phone-wide")

    assert measure_pictures([inside], 10).impossible == 0.0
    assert measure_pictures([outside], 10).impossible > 0.3


def _picture(primaries: str) -> Planes:
    """Strong colours near the green and blue of a gamut, coded as second-generation phone log."""
    encoding = ENCODINGS["phone-log-2"]
    lights = np.array([[0.02, 1.0, 0.02], [0.02, 0.02, 1.0], [0.5, 0.5, 0.5], [0.3, 0.5, 0.3]])
    to_own = np.linalg.inv(rgb_to_xyz(encoding.primaries)) @ rgb_to_xyz(primaries)
    light = lights @ to_own.T
    signal = TRANSFERS[encoding.transfer].to_signal(light)
    codes = np.rint(to_codes(signal, 10, "bt2020", "narrow")).astype(np.uint16)
    blocks = np.repeat(np.repeat(codes[None], 32, axis=0), 32, axis=1)
    return blocks[..., 0], blocks[::2, ::2, 1], blocks[::2, ::2, 2]
