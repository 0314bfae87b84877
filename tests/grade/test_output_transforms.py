"""The plain output transform: what it leaves alone, and where it puts the rest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS, named, transfer_of
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb
from evenhand.errors import UsageError
from evenhand.grade.document import Grade, Levelling
from evenhand.grade.exact import exact_transform
from evenhand.grade.output_transforms import (
    PlainSetting,
    bt709_oetf,
    output_encoding,
    plain_sdr,
    plain_setting,
)

SCENE = PlainSetting(peak=12.0, scene_referred=True, compress_gamut=True)
LIGHT = st.floats(-0.5, 12.0)


@settings(deadline=None)
@given(st.tuples(*[st.floats(0.0, 1.0)] * 3))
def test_a_display_referred_clip_passes_unchanged(signal):
    """BT.709 video through plain-sdr is the same video, in range, to 0.01 10-bit code."""
    grade = Grade(named("bt709"), output_transform="plain-sdr")

    found = exact_transform(grade)(np.array([signal]))

    np.testing.assert_allclose(found, [signal], atol=2e-5)


@pytest.mark.parametrize("name", ["phone-log-1", "phone-log-2", "slog3", "hlg", "logc4"])
def test_grey_and_skin_stay_where_a_bt709_camera_puts_them(name):
    """Light up to half of white takes the curve of BT.709 and no other: 18 % grey is 40.9 %."""
    encoding = named(name)
    # Linear BT.709 of a chart's dark skin (colour-science, after November 2014), and grey.
    light = np.array([[0.18, 0.18, 0.18], [0.173705, 0.078775, 0.052849]])
    signal = transfer_of(encoding).to_signal(light @ rgb_to_rgb("bt709", encoding.primaries).T)

    found = exact_transform(Grade(encoding, output_transform="plain-sdr"))(signal)

    # BT.709 item 1.2 with exact constants gives 0.40884811 for 0.18.
    assert found[0] == pytest.approx([0.40884811] * 3, abs=1e-6)
    # Gamuts that come to ACES by CAT02 and leave by Bradford move colours by 2.6e-4 on the way.
    tolerance = 3e-4 if name in ("slog3", "logc4") else 1e-5
    camera = 1.09929683 * light[1] ** 0.45 - 0.09929683
    np.testing.assert_allclose(found[1], camera, atol=tolerance)


@pytest.mark.parametrize("name", ["phone-log-1", "hlg", "vlog", "logc4"])
def test_the_peak_of_the_scene_lands_on_white(name):
    """Signal 1 is display white, and not before: half a stop under it is less."""
    encoding = named(name)
    grade = Grade(encoding, output_transform="plain-sdr")
    peak = transfer_of(encoding).peak

    ends = transfer_of(encoding).to_signal(np.array([[peak] * 3, [peak / 2**0.5] * 3]))
    found = exact_transform(grade)(ends)

    np.testing.assert_allclose(found[0], 1.0, atol=1e-6)
    assert found[1].max() < 0.995


def test_the_peak_moves_with_exposure():
    """A clip pushed by a stop has its highlights one stop higher, and still lands on white."""
    grade = Grade(named("phone-log-1"), Levelling(stops=1.0), output_transform="plain-sdr")

    assert plain_setting(grade).peak == pytest.approx(24.0, rel=1e-6)
    np.testing.assert_allclose(exact_transform(grade)([[1.0, 1.0, 1.0]]), 1.0, atol=1e-6)


@settings(deadline=None)
@given(low=st.floats(0.0, 14.0), high=st.floats(0.0, 14.0), peak=st.floats(0.2, 500.0))
def test_tones_keep_their_order(low, high, peak):
    """No tone passes another, whatever the peak."""
    setting = PlainSetting(peak=peak, scene_referred=True, compress_gamut=True)

    tones = plain_sdr(np.array([[min(low, high)] * 3, [max(low, high)] * 3]), setting)

    assert (tones[0] <= tones[1] + 1e-12).all()


@settings(deadline=None)
@given(st.tuples(LIGHT, LIGHT, LIGHT))
def test_every_light_gives_a_displayable_colour(light):
    """Colours outside BT.709 come out inside, finite."""
    found = plain_sdr(np.array([light]), SCENE)

    assert np.isfinite(found).all()
    assert (found >= 0.0).all()
    assert (found <= 1.0).all()


@settings(deadline=None)
@given(st.tuples(*[st.floats(0.0, 0.3)] * 3), st.integers(0, 2))
def test_compression_keeps_luminance_and_separates_colours(rgb, channel):
    """A colour outside the gamut keeps its luminance, and a stronger one stays the stronger."""
    weights = luminance_weights("bt709")
    away = np.zeros(3)
    away[channel] = -0.1
    outer, inner = np.array(rgb) + 1.5 * away, np.array(rgb) + away
    if outer @ weights < 0.01 or max(rgb) + 0.2 > 0.5:
        return
    setting = PlainSetting(peak=1.0, scene_referred=False, compress_gamut=True)

    light = plain_sdr(np.stack([outer, inner]), setting) ** 2.4

    np.testing.assert_allclose(light @ weights, np.stack([outer, inner]) @ weights, atol=1e-9)
    assert light.min() >= 0.0


def test_only_colours_far_out_are_compressed():
    """A third of the way to the boundary nothing moves; the same without compression."""
    light = np.array([[0.30, 0.20, 0.12]])  # (Y − min)/Y = 0.44
    without = PlainSetting(peak=12.0, scene_referred=True, compress_gamut=False)

    np.testing.assert_array_equal(plain_sdr(light, SCENE), plain_sdr(light, without))


def test_the_camera_curve_is_bt709():
    """BT.709 item 1.2 as printed (1.099 and 0.018), within the 2.5e-4 its rounding leaves."""
    light = np.array([0.0, 0.01, 0.05, 0.10, 0.5, 0.9, 1.0])
    printed = [0.0, 0.045, 0.18645273, 0.29093991, 0.70551509, 0.94910990, 1.0]

    np.testing.assert_allclose(bt709_oetf(light), printed, atol=2.5e-4)


@pytest.mark.parametrize(
    ("output_transform", "encoding"),
    [("aces2-sdr", "bt709"), ("plain-sdr", "bt709"), ("hlg-1000", "hlg"), ("pq-1000", "pq")],
)
def test_each_output_transform_says_how_its_signal_is_coded(output_transform, encoding):
    """The master's encoding follows from the output transform."""
    assert output_encoding(output_transform) == ENCODINGS[encoding]


def test_an_unknown_output_transform_is_refused():
    """With the names of those there are."""
    with pytest.raises(UsageError, match="plain-sdr"):
        output_encoding("plain")
