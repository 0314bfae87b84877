"""The exact transform: order of work, published output transforms, and input that means nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS, named, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.colourmath.white import white_xy
from evenhand.errors import UsageError
from evenhand.grade.document import Adjustment, Cdl, Grade, Levelling, LookUse, White
from evenhand.grade.exact import (
    SIGNAL_HIGH,
    SIGNAL_LOW,
    adjust,
    exact_transform,
    scene_light,
    scene_light_image,
    working_light,
)

PHONE_LOG = named("phone-log-1")


def signal_of(light, encoding=PHONE_LOG):
    """Linear BT.709 light to the signal of an encoding."""
    own = np.asarray(light, float) @ rgb_to_rgb("bt709", encoding.primaries).T
    return transfer_of(encoding).to_signal(own, encoding.range)


def grey(light, encoding=PHONE_LOG):
    return signal_of(np.full((1, 3), light), encoding)


# The ACES 2 tone scale computed from its published formula; OpenColorIO agrees to 5 digits.
@pytest.mark.parametrize(
    ("output_transform", "column"), [("aces2-sdr", 0), ("hlg-1000", 1), ("pq-1000", 2)]
)
@pytest.mark.parametrize(
    ("light", "signals"),
    [
        (0.02, (0.088621, 0.065979, 0.107440)),
        (0.09, (0.262025, 0.197666, 0.254198)),
        (0.18, (0.383118, 0.296899, 0.329837)),
        (0.36, (0.521019, 0.426046, 0.405680)),
        (0.90, (0.702908, 0.621658, 0.503606)),
        (1.0, (0.721975, 0.640865, 0.514473)),
        (8.0, (0.950627, 0.903828, 0.683918)),
    ],
)
def test_greys_follow_the_published_tone_scale(output_transform, column, light, signals):
    """Phone log greys land on the ACES 2 tone scale within 0.1 10-bit code."""
    found = exact_transform(Grade(PHONE_LOG, output_transform=output_transform))(grey(light))

    np.testing.assert_allclose(found, signals[column], atol=0.1 / 876)


# OpenColorIO 2.6 alone; the approximate inverse tables of another version may differ a little.
@pytest.mark.parametrize(
    ("light", "signal"),
    [
        ((0.4, 0.2, 0.14), (0.545258, 0.407316, 0.350022)),
        ((1.0, 0.0, 0.0), (0.781865, 0.139334, 0.092512)),
        ((0.0, 1.0, 0.0), (0.280225, 0.758056, 0.244154)),
        ((0.05, 0.1, 0.4), (0.176917, 0.272311, 0.553415)),
    ],
)
def test_colours_go_through_aces_2(light, signal):
    """Colours of BT.709 coded in phone log come out as OpenColorIO renders them."""
    found = exact_transform(Grade(PHONE_LOG))(signal_of([light]))

    np.testing.assert_allclose(found, [signal], atol=2e-4)


@pytest.mark.parametrize("name", [n for n in ENCODINGS if n not in ("bt601-525", "bt601-625")])
def test_a_grey_card_looks_the_same_whatever_the_encoding(name):
    """18 % grey coded in any encoding is rendered to 10 cd/m² (ACES 2), neutral."""
    found = exact_transform(Grade(named(name)))(grey(0.18, named(name)))

    np.testing.assert_allclose(found, 0.383118, atol=2e-4)


def test_exposure_is_a_factor_on_light():
    """Two stops up on a card two stops under is the card."""
    under = Grade(PHONE_LOG, Levelling(stops=1.5), Adjustment(exposure=0.5))

    found = exact_transform(under)(grey(0.045))

    np.testing.assert_allclose(found, exact_transform(Grade(PHONE_LOG))(grey(0.18)), atol=1e-6)


def test_the_clips_white_becomes_neutral():
    """A grey card under the clip's white comes out with equal R, G and B."""
    x, y = white_xy(3200.0, 0.004)
    card = 0.18 * np.array([x / y, 1.0, (1 - x - y) / y])
    from_xyz = np.linalg.inv(
        np.array(  # BT.709 to XYZ, as IEC 61966-2-1 prints it to four digits and more
            [
                [0.4123907993, 0.3575843394, 0.1804807884],
                [0.2126390059, 0.7151686788, 0.0721923154],
                [0.0193308187, 0.1191947798, 0.9505321522],
            ]
        )
    )

    found = exact_transform(Grade(PHONE_LOG, Levelling(white=White(3200.0, 0.004))))(
        signal_of([from_xyz @ card])
    )

    np.testing.assert_allclose(found, 0.383118, atol=2e-4)


def test_a_white_set_by_hand_replaces_the_levelled_one():
    """The two whites are not added up."""
    hand = Adjustment(white=White(4000.0, 0.0))
    both = Grade(PHONE_LOG, Levelling(white=White(3000.0, 0.01)), hand)

    found = exact_transform(both)(grey(0.3))

    np.testing.assert_array_equal(
        found, exact_transform(Grade(PHONE_LOG, adjustment=hand))(grey(0.3))
    )


@settings(deadline=None)
@given(
    contrast=st.floats(0.2, 3.0),
    low=st.floats(-0.02, 16.0),
    high=st.floats(-0.02, 16.0),
)
def test_contrast_keeps_grey_and_order(contrast, low, high):
    """Contrast leaves 18 % grey, and never turns two tones round."""
    low, high = min(low, high), max(low, high)

    tones = adjust(np.repeat([[low], [0.18], [high]], 3, axis=1), Adjustment(contrast=contrast))

    assert tones[1] == pytest.approx(0.18, rel=1e-9)
    assert (tones[0] <= tones[2] + 1e-12).all()


def test_contrast_is_a_power_of_light_about_grey():
    """Above ACEScct's toe contrast c takes a tone n stops over grey to c·n stops (by hand)."""
    tones = adjust(np.full((1, 3), 0.18 * 4.0), Adjustment(contrast=1.25))

    np.testing.assert_allclose(tones, 0.18 * 2.0**2.5, rtol=1e-9)


def test_saturation_zero_is_grey():
    """Saturation 0 leaves no colour."""
    found = exact_transform(Grade(PHONE_LOG, adjustment=Adjustment(saturation=0.0)))(
        signal_of([[0.5, 0.1, 0.05]])
    )

    assert np.ptp(found) < 2e-4


@dataclass(frozen=True)
class Inverting:
    """A look that shows where it was put: it turns its input round."""

    space: str = "bt709-display"

    def apply(self, signal):
        return 1.0 - signal


def test_a_display_look_comes_after_the_output_transform():
    """The look sees display signal, at its strength: out = in + s·(look(in) − in)."""
    plain = exact_transform(Grade(PHONE_LOG))(grey(0.18))
    grade = Grade(PHONE_LOG, look=LookUse("turned", 0.25))

    found = exact_transform(grade, lambda name: Inverting())(grey(0.18))

    np.testing.assert_allclose(found, plain + 0.25 * (1.0 - 2.0 * plain), atol=1e-12)


def test_a_log_look_comes_before_the_output_transform():
    """A look that declares ACEScct sees grey at 0.4136 and is rendered afterwards."""
    grade = Grade(PHONE_LOG, look=LookUse("turned", 0.5))

    found = exact_transform(grade, lambda name: Inverting("acescct"))(grey(0.18))

    # Half-way between v and 1 − v is 0.5; ACEScct 0.5 is 2^(0.5·17.52 − 9.72) of light.
    expected = exact_transform(Grade(PHONE_LOG))(grey(2.0 ** (0.5 * 17.52 - 9.72)))
    np.testing.assert_allclose(found, expected, atol=2e-4)


def test_a_look_at_no_strength_is_not_even_looked_up():
    """Strength 0 is the grade without the look."""

    def nothing(name):
        raise AssertionError(name)

    grade = Grade(PHONE_LOG, look=LookUse("turned", 0.0))
    exact_transform(grade, nothing)(grey(0.18))


@pytest.mark.parametrize(
    ("grade", "says"),
    [
        (Grade(PHONE_LOG, adjustment=Adjustment(contrast=0.0)), "contrast"),
        (Grade(PHONE_LOG, adjustment=Adjustment(cdl=Cdl(power=(1, 0, 1)))), "power"),
        (Grade(PHONE_LOG, adjustment=Adjustment(saturation=-0.1)), "saturation"),
        (Grade(PHONE_LOG, look=LookUse("turned", 1.5)), "strength 1.5"),
        (Grade(PHONE_LOG, look=LookUse("turned"), output_transform="hlg-1000"), "hlg-1000"),
        (Grade(PHONE_LOG, output_transform="film"), "aces2-sdr"),
    ],
)
def test_what_has_no_meaning_is_refused(grade, says):
    """Each error says which value, and none reaches a picture."""
    with pytest.raises(UsageError, match=says):
        exact_transform(grade, lambda name: Inverting())


ANY = st.floats(allow_nan=True, allow_infinity=True, width=32)
EVERY_GRADE = [
    Grade(PHONE_LOG),
    Grade(named("logc4"), adjustment=Adjustment(contrast=2.0), output_transform="hlg-1000"),
    Grade(named("pq"), Levelling(2.0, White(2500.0, -0.01)), output_transform="plain-sdr"),
    Grade(named("bt709"), adjustment=Adjustment(saturation=1.6), output_transform="pq-1000"),
    Grade(named("phone-log-2"), adjustment=Adjustment(cdl=Cdl(offset=(-0.3, 0.2, 0.4)))),
]


@pytest.mark.parametrize(
    "grade", EVERY_GRADE, ids=lambda g: f"{g.encoding.name} {g.output_transform}"
)
@settings(deadline=None)
@given(signal=st.tuples(ANY, ANY, ANY))
def test_every_input_gives_a_colour(grade, signal):
    """NaN, infinity and signals beyond all codes come out finite and in 0..1."""
    found = exact_transform(grade)(np.array([signal]))

    assert np.isfinite(found).all()
    assert (found >= 0.0).all()
    assert (found <= 1.0).all()


def test_nan_is_black_signal_and_infinity_the_last_code():
    """What undefined input means is fixed."""
    transform = exact_transform(Grade(PHONE_LOG))

    found = transform([[np.nan] * 3, [np.inf] * 3, [-np.inf] * 3])

    expected = transform([[0.0] * 3, [SIGNAL_HIGH] * 3, [SIGNAL_LOW] * 3])
    np.testing.assert_array_equal(found, expected)


def test_shape_is_kept_and_chunks_do_not_show():
    """A picture in, a picture out, the same pixels whatever stands around them."""
    signal = np.random.default_rng(0).uniform(0.1, 0.9, (300, 250, 3))
    transform = exact_transform(Grade(PHONE_LOG))

    found = transform(signal)

    assert found.shape == signal.shape
    np.testing.assert_array_equal(found[299, 240:], transform(signal[299, 240:]))


def test_scene_light_is_linear_bt2020():
    """A second-generation clip is measured in the same space as any other."""
    light = np.array([[0.4, 0.2, 0.1]])

    found = [
        scene_light(signal_of(light, named(n)), named(n))
        for n in ("phone-log-1", "phone-log-2", "slog3", "acescct")
    ]

    expected = light @ rgb_to_rgb("bt709", "bt2020").T
    np.testing.assert_allclose(found, [expected] * 4, rtol=1e-9)


@pytest.mark.parametrize("name", ["phone-log-1", "phone-log-2", "hlg", "pq", "bt709", "srgb"])
def test_the_fast_scene_light_is_near_the_exact_one(name):
    """From black up: within 1.5e-4 of the brightest channel, and 5e-6 of white in the darks."""
    encoding = named(name)
    black = transfer_of(encoding).black
    signal = np.random.default_rng(4).uniform(black, 1.0, (64, 64, 3)).astype(np.float32)

    exact = scene_light(signal, encoding)
    fast = scene_light_image(signal, encoding)

    assert fast.dtype == np.float32
    brightest = np.abs(exact).max(axis=2, keepdims=True)
    assert (np.abs(fast - exact) <= 1.5e-4 * brightest + 5e-6).all()


def test_working_light_is_what_the_output_transform_gets():
    """Levelled grey in AP1 is 0.18 in each channel."""
    grade = Grade(PHONE_LOG, Levelling(stops=1.0))

    np.testing.assert_allclose(working_light(grey(0.09), grade), 0.18, rtol=1e-7)
