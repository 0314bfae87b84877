"""Halation and grain: physical, repeatable, the same at every resolution, and no light made."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.grade.effects import Effects, Grain, Halation, with_effects, with_grain, with_halation

GLOW = Halation(amount=0.4, radius=0.01, threshold=0.7)
GRAIN = Grain(stops=0.1, size=0.004, colour=0.0)
MID = 0.5**2.4


def flat(height: int, signal: float = 0.5) -> np.ndarray:
    return np.full((height, height * 3 // 2, 3), signal)


def lamp(height: int, share: float = 0.02) -> np.ndarray:
    """Light: a white disc of that radius, in picture heights, on a dark ground."""
    y, x = (np.mgrid[:height, : height * 3 // 2] + 0.5) / height
    disc = np.clip((share - np.hypot(y - 0.5, x - 0.75)) * height + 0.5, 0.0, 1.0)
    return np.repeat((0.01 + 0.99 * disc)[..., None], 3, axis=2)


def stops(light: np.ndarray) -> np.ndarray:
    return np.log2(light[..., 1] / MID)


def test_no_effects_cost_nothing() -> None:
    """The very array comes back."""
    picture = flat(20)

    assert with_effects(picture, Effects(), 3) is picture
    assert Effects().are_none
    assert Effects().words == ()


def test_grain_is_repeatable_by_frame_and_new_on_every_one() -> None:
    """Frame 7 is always the same bits; frame 8, and another seed, have nothing to do with it."""
    effects = Effects(grain=GRAIN)
    one = with_effects(flat(200), effects, 7)
    others = (
        with_effects(flat(200), effects, 8),
        with_effects(flat(200), Effects(grain=Grain(stops=0.1, size=0.004, colour=0.0, seed=2)), 7),
    )

    assert np.array_equal(one, with_effects(flat(200), effects, 7))
    for other in others:
        assert abs(np.corrcoef(one[..., 0].ravel(), other[..., 0].ravel())[0, 1]) < 0.03


def test_grain_has_the_strength_asked_for_and_keeps_the_mean_light() -> None:
    """0.1 stops of standard deviation at 50 % signal; the mean light within 0.2 %."""
    light = with_grain(flat(500) ** 2.4, GRAIN, 1)

    assert stops(light).std() == pytest.approx(0.1, rel=0.03)
    assert light.mean() == pytest.approx(MID, rel=2e-3)


def test_strong_grain_keeps_the_mean_light_as_well() -> None:
    """A factor exp(s·g) alone would add s²/2, 2.2 % here; 40 frames are averaged."""
    grain = Grain(stops=0.3, size=0.005, colour=0.5)
    mean = np.mean([with_grain(flat(100) ** 2.4, grain, frame).mean() for frame in range(40)])

    assert mean == pytest.approx(MID, rel=2e-3)


def test_black_and_white_have_no_grain() -> None:
    """Both ends stay to the bit, so nothing is cut there."""
    for end in (0.0, 1.0):
        assert np.array_equal(with_grain(flat(60, end), GRAIN, 1), flat(60, end))


def test_grain_is_of_the_place_in_the_picture_and_not_of_the_pixel() -> None:
    """A picture of 1000 rows, its pixels averaged by twos, shows the grain of one of 500."""
    small = stops(with_grain(flat(500) ** 2.4, GRAIN, 1))
    large = stops(with_grain(flat(1000) ** 2.4, GRAIN, 1))
    means = large.reshape(500, 2, 750, 2).mean(axis=(1, 3))

    assert np.corrcoef(small.ravel(), means.ravel())[0, 1] > 0.98
    assert means.std() == pytest.approx(small.std(), rel=0.12)


def test_pixels_larger_than_grains_see_less_of_them() -> None:
    """By the size of a grain over that of a pixel (Selwyn: standard deviation × √area is even)."""
    fine = Grain(stops=0.2, size=0.0008, colour=0.0)  # 1250 rows of grains
    light = with_grain(flat(250) ** 2.4, fine, 1)

    assert stops(light).std() == pytest.approx(0.2 / 5, rel=0.05)
    assert light.mean() == pytest.approx(MID, rel=1e-3)


def test_grain_in_colour_differs_by_channel() -> None:
    """With `colour` 0 the channels vary as one, with 1 by themselves."""
    for share, least, most in ((0.0, 0.999, 1.0001), (1.0, -0.03, 0.03)):
        grain = Grain(stops=0.1, size=0.004, colour=share)
        light = with_grain(flat(250) ** 2.4, grain, 1)
        assert least <= np.corrcoef(light[..., 0].ravel(), light[..., 2].ravel())[0, 1] <= most


@pytest.mark.parametrize("height", [60, 240, 720])
def test_halation_moves_light_and_makes_none(height: int) -> None:
    """The sum of each channel stays within 1e-6 of it, and no light falls below 0."""
    light = lamp(height)
    out = with_halation(light, GLOW)

    assert out.sum(axis=(0, 1)) == pytest.approx(light.sum(axis=(0, 1)), rel=1e-6)
    assert out.min() > 0.0
    assert np.abs(out - light).max() > 0.02


def test_halation_is_red_first_and_only_round_what_is_bright() -> None:
    """Beside the lamp red gains most, and by the share of its tint; a dim picture stays."""
    gained = (with_halation(lamp(240), GLOW) - lamp(240))[120, 188]
    dim = lamp(240) * 0.3

    assert gained[1:] / gained[0] == pytest.approx(GLOW.tint[1:], rel=1e-6)
    assert gained[0] > 0.01
    assert np.array_equal(with_halation(dim, GLOW), dim)


def test_halation_is_as_wide_as_asked_at_every_resolution() -> None:
    """Mean squared distance grows by that of the two Gaussians: (1 + 2.5²)/2 · radius² an axis.

    Measured on the light moved, from the middle of the lamp; 2 % is what reducing leaves.
    """
    expected = (1 + 2.5**2) / 2 * GLOW.radius**2
    for height in (120, 400, 900):
        light = np.where(lamp(height, share=0.05) > 0.5, 1.0, 0.01)
        out = with_halation(light, GLOW)
        y = (np.arange(height) + 0.5) / height - 0.5

        def spread(picture: np.ndarray, y: np.ndarray = y) -> float:
            rows = (picture[..., 0] - 0.01).sum(axis=1)
            return float((rows * y**2).sum() / rows.sum())

        assert (spread(out) - spread(light)) / GLOW.amount == pytest.approx(expected, rel=0.02)


def test_edges_are_seen_by_neither() -> None:
    """A bright flat picture stays flat under halation; grain is as strong at the border."""
    bright = flat(120, 0.9)
    light = with_grain(flat(400) ** 2.4, GRAIN, 1)

    assert with_halation(bright, GLOW) == pytest.approx(bright, abs=1e-12)
    assert stops(light)[:4].std() == pytest.approx(0.1, rel=0.15)


def test_words_have_numbers() -> None:
    """What a document asks for, as a person reads it."""
    assert Effects(halation=GLOW, grain=GRAIN).words == (
        "halation: 40% of light above 70% signal spread by 1.00% of the picture's height",
        "grain: 0.10 stops at 50 % signal, 0.40% of the picture's height in size, "
        "0% of it in colour",
    )


def test_tiny_pictures_are_answered() -> None:
    """Two pixels a side, and one with a side of one, come out finite."""
    for shape in ((2, 2, 3), (1, 5, 3), (40, 1, 3)):
        out = with_effects(np.full(shape, 0.8), Effects(halation=GLOW, grain=GRAIN), 0)
        assert out.shape == shape
        assert np.isfinite(out).all()
