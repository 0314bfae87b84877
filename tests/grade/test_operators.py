"""The operators one by one: Oklab against another implementation, smoothness, fixed points."""

from __future__ import annotations

from itertools import product

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenhand.grade.display_limit import START, into_display
from evenhand.grade.moves import Middle, Operator, Tone, ToneInStops
from evenhand.grade.operators import (
    Density,
    Lean,
    Mix,
    Print,
    Saturation,
    SplitTone,
    Turn,
)
from evenhand.grade.uniform import (
    IPT,
    IPT_SCALE,
    MODELS,
    OKLAB,
    Model,
    chroma,
    grey_signal,
    hue_name,
    lab_to_light,
    lab_to_signal,
    light_to_lab,
    signal_to_lab,
    skin_weight,
    smooth_step,
)

RNG = np.random.default_rng(11)
LUMINANCE = np.array([0.2126390059, 0.7151686788, 0.0721923154])
GREYS = signal_to_lab(np.linspace(0, 1, 4001)[:, None].repeat(3, 1))
RAMP = np.stack([np.linspace(0, 1, 4001), np.zeros(4001), np.zeros(4001)], axis=-1)
BOTH = pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
NOTHING: tuple[Operator, ...] = (
    Tone(),
    ToneInStops(),
    Middle(amount=0.0),
    SplitTone(),
    Turn(hue=40, half_width=50),
    Saturation(),
    Density(amount=0.0),
    Print(gamma=1.0, crosstalk=0.1, amount=0.0),
)
LEAVES_GREY: tuple[Operator, ...] = (
    ToneInStops(slope=1.3, toe=4.0, shoulder=1.5, black=0.02),
    Tone(contrast=1.2, toe=0.5, shoulder=0.4, black=0.05),
    Middle(amount=-0.1),
    Turn(hue=40, half_width=50, turn=20, chroma=1.3, lightness=0.05),
    Saturation(dark=0.5, mid=1.3, light=0.8),
    Density(amount=0.2),
    Mix(red=0.3, green=0.5, blue=0.2),
    Print(gamma=1.1, crosstalk=0.2),
)


@pytest.mark.oracle
def test_oklab_is_that_of_another_implementation() -> None:
    """Colours of the cube agree with colour-science's Oklab to 5e-4, what its rounding leaves."""
    light = RNG.random((300, 3))
    xyz = light @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ.T

    assert light_to_lab(light) == pytest.approx(colour.XYZ_to_Oklab(xyz), abs=5e-4)


@pytest.mark.oracle
def test_ipt_is_that_of_another_implementation() -> None:
    """Colours of the cube agree with colour-science's IPT to 5e-4, what its rounding leaves."""
    light = RNG.random((300, 3))
    xyz = light @ colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ.T
    scale = np.array([1.0, IPT_SCALE, IPT_SCALE])

    assert light_to_lab(light, IPT) == pytest.approx(colour.XYZ_to_IPT(xyz) * scale, abs=5e-4)


def test_amounts_of_chroma_mean_the_same_in_both_spaces() -> None:
    """Over the cube the middle ratio of chroma in Oklab to that in IPT is 1 within 2 %."""
    signal = RNG.random((20_000, 3))
    one, other = (chroma(signal_to_lab(signal, model)) for model in (OKLAB, IPT))

    assert np.median((one / other)[one > 0.03]) == pytest.approx(1.0, abs=0.02)


@BOTH
def test_signal_comes_back(model: Model) -> None:
    """Signal to the even space and back is the same to 1e-9; greys have no chroma to 1e-15."""
    signal = RNG.random((300, 3))
    greys = signal_to_lab(np.linspace(0, 1, 99)[:, None].repeat(3, 1), model)

    assert lab_to_signal(signal_to_lab(signal, model), model) == pytest.approx(signal, abs=1e-9)
    assert np.abs(greys[:, 1:]).max() < 1e-15


@BOTH
@pytest.mark.parametrize("operator", NOTHING, ids=lambda o: type(o).__name__)
def test_an_operator_set_to_nothing_does_nothing(operator: Operator, model: Model) -> None:
    """Neutral settings give the colours back."""
    lab = signal_to_lab(RNG.random((200, 3)), model)

    assert operator(lab, model) == pytest.approx(lab, abs=1e-11)


@BOTH
@pytest.mark.parametrize("operator", LEAVES_GREY, ids=lambda o: type(o).__name__)
def test_grey_stays_grey(operator: Operator, model: Model) -> None:
    """Only a split tone may move a grey off the axis."""
    assert operator.is_neutral
    assert np.abs(operator(RAMP, model)[:, 1:]).max() < 1e-13


@BOTH
def test_tone_in_stops_is_what_its_formula_says(model: Model) -> None:
    """Against the slope integrated numerically: grey and white stay, darks move by an even step.

    d(x) = 1 + (s − 1)(1 − (x/R)²)³ under grey, summed by the trapezoid rule.
    """
    tone = ToneInStops(slope=1.25, toe=3.0, shoulder=1.8)
    stops = np.linspace(-7.0, 0.0, 20_001)
    slope = 1.0 + 0.25 * np.clip(1.0 - (stops / 3.0) ** 2, 0.0, None) ** 3
    moved = -np.concatenate([np.cumsum((slope[:0:-1] + slope[-2::-1]) / 2), [0.0]])
    moved = np.concatenate([[0.0], moved[:-1]])[::-1] * (stops[1] - stops[0])

    lab = light_to_lab(np.repeat(0.18 * 2.0 ** stops[:, None], 3, axis=1), model)
    out = np.log2(lab_to_light(tone(lab, model), model)[:, 0] / 0.18)
    ends = lab_to_light(tone(light_to_lab(np.array([[0.0] * 3, [1.0] * 3]), model), model), model)

    assert out == pytest.approx(moved, abs=1e-6)
    assert ends == pytest.approx(np.array([[0.0] * 3, [1.0] * 3]), abs=1e-12)


def test_tone_in_stops_rises_and_bends_smoothly_for_every_setting() -> None:
    """In stops: slope above 0.2 everywhere and no jump of the second derivative."""
    stops = np.linspace(-9.0, float(-np.log2(0.18)), 6001)
    lab = light_to_lab(np.repeat(0.18 * 2.0 ** stops[:, None], 3, axis=1))
    step = stops[1] - stops[0]
    for slope, toe, shoulder in product((0.5, 1.0, 1.6), (1.0, 3.0, 8.0), (0.5, 1.5, 2.4)):
        out = lab_to_light(ToneInStops(slope=slope, toe=toe, shoulder=shoulder)(lab))[:, 0]
        along = np.diff(np.log2(out)) / step
        bend = np.diff(along) / step

        assert along.min() > 0.2
        assert np.abs(np.diff(bend)).max() < 0.02 * np.ptp(bend) + 1e-4


def test_a_tone_curve_is_monotone_and_bends_smoothly_for_every_setting() -> None:
    """Slope above 0.1 everywhere, and no jump of the second derivative over 1 % of its range."""
    for contrast, toe, shoulder, pivot in product(
        (0.4, 0.8, 1.0, 1.3, 1.8), (0.0, 0.5, 1.0), (0.0, 0.5, 1.0), (0.45, 0.58, 0.65)
    ):
        tone = Tone(contrast=contrast, toe=toe, shoulder=shoulder, pivot=pivot)
        curve = grey_signal(tone(GREYS))
        bend = np.diff(curve, 2) * 4000.0**2

        assert np.diff(curve).min() * 4000 > 0.1
        assert np.abs(np.diff(bend)).max() <= 0.01 * np.ptp(bend) + 1e-4
        assert (curve[0], curve[-1]) == pytest.approx((0, 1), abs=1e-12)


def test_the_pivot_stays_and_has_the_slope_asked_for() -> None:
    """At the pivot signal is unchanged and the slope is the contrast."""
    tone = Tone(contrast=1.25, pivot=0.6, toe=0.3, shoulder=0.6)
    near = np.array([0.6 - 1e-5, 0.6, 0.6 + 1e-5])[:, None].repeat(3, 1)

    out = grey_signal(tone(signal_to_lab(near)))

    assert out[1] == pytest.approx(0.6, abs=1e-12)
    assert (out[2] - out[0]) / 2e-5 == pytest.approx(1.25, abs=1e-6)


@pytest.mark.parametrize("turn", [-24.0, 24.0])
def test_a_turn_within_its_limit_keeps_the_order_of_hues(turn: float) -> None:
    """|turn| < 0.49 · half width never folds; twice that does."""
    hue = np.radians(np.arange(0, 360, 0.5))
    ring = np.stack([np.full_like(hue, 0.6), 0.2 * np.cos(hue), 0.2 * np.sin(hue)], axis=-1)

    def slowest(angle: float) -> float:
        out = Turn(hue=100, half_width=50, turn=angle)(ring)
        turned = np.unwrap(np.arctan2(out[:, 2], out[:, 1]))
        return float(np.diff(turned).min())

    assert slowest(turn) > 0
    assert slowest(2 * turn) < 0


def test_a_split_tone_leans_as_asked_and_spares_the_ends_and_the_skin() -> None:
    """Darks get the asked chroma and hue; black, white and (kept wholly) skin stay."""
    split = SplitTone(
        dark=Lean(hue=250.0, amount=0.02),
        light=Lean(hue=80.0, amount=0.01),
        balance=0.5,
        keep_skin=1.0,
    )
    dark, light = split(np.array([[0.26, 0.0, 0.0], [0.76, 0.0, 0.0]]))
    hue = np.radians(50)
    skin = np.array([[0.6, 0.08 * np.cos(hue), 0.08 * np.sin(hue)]])

    assert np.hypot(*dark[1:]) == pytest.approx(0.02, rel=0.1)
    assert np.degrees(np.arctan2(dark[2], dark[1])) % 360 == pytest.approx(250, abs=3)
    assert np.degrees(np.arctan2(light[2], light[1])) % 360 == pytest.approx(80, abs=3)
    assert np.array_equal(split(RAMP[[0, -1]]), RAMP[[0, -1]])
    assert split(skin) == pytest.approx(skin, abs=1e-12)
    assert skin_weight(skin) == pytest.approx(1.0)


@pytest.mark.oracle
@BOTH
def test_a_lean_by_kelvin_is_that_of_the_light(model: Model) -> None:
    """A grey of lightness 0.75 gets the chromaticity of a 4500 K black body (colour-science)."""
    split = SplitTone(light=Lean(kelvin=4500.0), balance=0.3, keep_skin=0.0)
    hue, amount = Lean(kelvin=4500.0).offset(0.75, model)
    lab = np.array([0.75, amount * np.cos(np.radians(hue)), amount * np.sin(np.radians(hue))])
    xyz = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ @ lab_to_light(lab, model)

    expected = colour.UCS_uv_to_xy(colour.CCT_to_uv(np.array([4500.0, 0.0]), method="Ohno 2013"))
    assert colour.XYZ_to_xy(xyz) == pytest.approx(expected, abs=2e-4)
    assert amount > 0.03  # more than a document may ask for
    assert "at most 0.025" in split.fault(model)


def test_black_and_white_mixes_light_by_its_weights() -> None:
    """A pure channel becomes the grey of its weight in light."""
    for channel, weight in enumerate((0.5, 0.3, 0.2)):
        light = np.zeros((1, 3))
        light[0, channel] = 1.0
        out = Mix(red=0.5, green=0.3, blue=0.2)(light_to_lab(light))
        assert lab_to_light(out) == pytest.approx(np.full((1, 3), weight), abs=1e-9)


def test_a_print_keeps_middle_grey_black_and_white() -> None:
    """18 % grey and both ends stay; tones between them keep their order."""
    ends = light_to_lab(np.array([[0.0] * 3, [0.18] * 3, [1.0] * 3]))
    out = Print(gamma=1.1, crosstalk=0.2)(ends)[:, 0]

    assert out == pytest.approx(ends[:, 0], abs=1e-9)
    assert np.diff(Print(gamma=1.1, crosstalk=0.2)(RAMP)[:, 0]).min() > 0


@pytest.mark.oracle
@settings(max_examples=60, deadline=None)
@given(light=arrays(np.float64, (6, 3), elements=st.floats(-0.5, 1.6)))
def test_the_limit_brings_every_colour_inside(light: np.ndarray) -> None:
    """Whatever the light, the result is in 0..1 and has its luminance (BT.709 weights), cut."""
    out = into_display(light)

    assert out.min() >= 0.0
    assert out.max() <= 1.0
    assert out @ LUMINANCE == pytest.approx((light @ LUMINANCE).clip(0, 1), abs=1e-8)


def test_the_limit_leaves_what_is_well_inside() -> None:
    """Colours under the start of the limit are the same to the last digit, greys always."""
    light = RNG.random((4000, 3))
    away = light - (light @ LUMINANCE)[:, None]
    grey = light @ LUMINANCE
    share = np.maximum(-away / grey[:, None], away / (1 - grey)[:, None]).max(axis=1)
    calm = light[share < 0.9 * START]
    assert len(calm) > 200

    assert into_display(calm) == pytest.approx(calm, abs=1e-15)
    greys = np.linspace(0, 1, 50)[:, None].repeat(3, 1)
    assert np.ptp(into_display(greys), axis=1).max() < 1e-14


def test_the_limit_is_smooth_and_keeps_the_order_of_chroma() -> None:
    """On a way from grey out of the cube, distance from grey only grows, without a kink."""
    grey, direction = np.full(3, 0.3), np.array([1.0, -0.4, 0.1])
    direction = direction - direction @ LUMINANCE
    way = grey + np.linspace(0, 1.2, 6001)[:, None] * direction

    far = np.linalg.norm(into_display(way) - grey, axis=1)
    bend = np.diff(far, 2)

    assert np.diff(far).min() > 0
    assert np.abs(np.diff(bend)).max() < 0.02 * np.ptp(bend)


def test_the_smooth_step_joins_with_slope_and_curvature_of_nothing() -> None:
    """0 to 1, monotone, and flat to the third order at both ends (x³ · 10)."""
    x = np.linspace(-0.2, 1.2, 2801)
    y = smooth_step(x)

    assert np.diff(y).min() >= 0
    assert float(smooth_step(np.array(1e-3))) < 1.01e-8
    assert float(1 - smooth_step(np.array(1 - 1e-3))) < 1.01e-8


def test_hues_have_names() -> None:
    """The words of a look's description are the nearest, on either side of 0°."""
    assert hue_name(255).startswith("blue")
    assert hue_name(358) == hue_name(358.0) == "pink (358°)"
    assert hue_name(2).startswith("pink")
