"""Light that changed inside a clip, undone: the formula, the clip level, the tables, the kernel."""

from __future__ import annotations

import colour
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS, named
from evenhand.colourmath.ycbcr import to_codes
from evenhand.grade.compiled import compile_grade, grade_digest
from evenhand.grade.document import Grade, Levelling, Ripple, Steadying
from evenhand.grade.exact import SIGNAL_HIGH, SIGNAL_LOW, exact_transform
from evenhand.grade.fidelity import differences
from evenhand.grade.output_transforms import output_encoding
from evenhand.grade.steadying import (
    HELD,
    channel_gains,
    channel_light,
    channel_signal,
    moves_of,
    neutral_ratio,
    ripple_stops,
    row_fractions,
    shifted,
    steadied,
    steadied_picture,
)
from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.grade import grade_planes

CURVE = {"seconds": (0.0, 1.0, 3.0), "stops": (0.0, 0.4, -0.2), "mired": (0.0, 15.0, -10.0)}
DRIFT = Steadying(**CURVE, duv=(0.0, 0.004, -0.002), clip=0.9)
RIPPLE = Ripple(hertz=100.0, readout=0.018, cosine=0.08, sine=-0.15)
NAMES = ("phone-log-1", "phone-log-2", "hlg", "pq", "bt709", "srgb", "slog3", "logc4")
# Primaries as their standards print them; all have D65 as white.
XY = {
    "bt709": "ITU-R BT.709",
    "bt2020": "ITU-R BT.2020",
}


def phone_log(light):
    """Log profile white paper of 2023, light to signal; not the code under test."""
    toe = 47.28711236 * np.maximum(light + 0.05641088, 0.0) ** 2
    return np.where(
        light < 0.01,
        toe,
        0.08550479 * np.log2(np.maximum(light, 0.01) + 0.00964052) + 0.69336945,
    )


def hlg(light):
    """BT.2100 table 5, E to signal."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    log = a * np.log(np.maximum(12 * light, 1.0) - b) + c
    return np.where(light <= 1 / 12, np.sqrt(3 * light), log)


# Light to signal of one channel, from outside: BT.2100, BT.1886 and the white paper's formula. The
# unit of light is the curve's own; only ratios of it matter.
CODERS = {
    "phone-log-1": (phone_log, 0.18),
    "hlg": (hlg, 0.05),
    "pq": (colour.models.eotf_inverse_ST2084, 26.0),
    "bt709": (colour.models.eotf_inverse_BT1886, 0.12),
}


def shifted_white(mired, duv):
    """xy of D65 moved by mired and Duv, by colour-science's own Planckian locus (Ohno 2013)."""
    kelvin, off = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv([0.3127, 0.3290]))
    moved = [1e6 / (1e6 / kelvin + mired), off + duv]
    return colour.UCS_uv_to_xy(colour.temperature.CCT_to_uv_Ohno2013(moved))


def ratio_by_colour_science(stops, mired, duv, primaries):
    space = colour.RGB_COLOURSPACES[XY[primaries]]
    xyz = 2.0**stops * colour.xy_to_XYZ(shifted_white(mired, duv))
    return np.linalg.inv(colour.normalised_primary_matrix(space.primaries, [0.3127, 0.3290])) @ xyz


@pytest.mark.oracle
@pytest.mark.parametrize("primaries", ["bt709", "bt2020"])
@pytest.mark.parametrize(
    ("stops", "mired", "duv"),
    [(0.7, 0.0, 0.0), (0.0, 30.0, 0.0), (0.0, -25.0, 0.006), (-0.4, 60.0, -0.01)],
)
def test_a_shifted_neutral_is_that_of_colour_science(primaries, stops, mired, duv):
    """Stops, mired and Duv of a D65 neutral as linear RGB, against another locus and matrix."""
    expected = ratio_by_colour_science(stops, mired, duv, primaries)

    found = neutral_ratio(stops, mired, duv, primaries)

    np.testing.assert_allclose(found, expected, rtol=1e-5)


def test_the_keys_are_joined_by_straight_lines_and_held_outside():
    """Half-way between two keys means half-way in stops and in mired, before it becomes a gain."""
    encoding = named("hlg")
    for seconds, stops, mired, duv in (
        (0.5, 0.2, 7.5, 0.002),
        (2.0, 0.1, 2.5, 0.001),
        (-1.0, 0.0, 0.0, 0.0),
        (9.0, -0.2, -10.0, -0.002),
    ):
        expected = -np.log2(neutral_ratio(stops, mired, duv, "bt2020"))
        found = channel_gains(DRIFT, encoding, seconds)
        np.testing.assert_allclose(found, expected, atol=1e-12)


def test_ripple_runs_down_the_rows():
    """With 100 Hz and a readout of 20 ms a picture holds two whole waves, whatever the moment."""
    ripple = Ripple(hertz=100.0, readout=0.02, cosine=0.3, sine=0.4)
    rows = np.linspace(0, 1, 4001)
    stops = ripple_stops(ripple, 0.0, rows)

    assert stops.max() == pytest.approx(0.5, abs=1e-5)
    np.testing.assert_allclose(stops[:2000], stops[2000:4000], atol=1e-9)
    np.testing.assert_allclose(ripple_stops(ripple, 0.0025, rows), _quarter_on(stops), atol=1e-9)


def _quarter_on(stops):
    """Two waves in 4000 steps: a quarter of a period later lies 500 rows further on."""
    return np.concatenate([stops[500:], stops[1:501]])


@pytest.mark.oracle
@pytest.mark.parametrize("name", CODERS)
@pytest.mark.parametrize("seconds", [0.0, 0.37, 1.0, 2.2, 5.0])
def test_what_the_light_did_is_undone(name, seconds):
    """A picture coded under changed light comes out as coded under the light of the reference.

    Changed light = light · ratio of the shifted neutral · 2^ripple, in the clip's own primaries,
    coded by formulas that are not the project's.
    """
    encode, grey = CODERS[name]
    encoding = named(name)
    steady = msgspec.structs.replace(DRIFT, ripple=RIPPLE, clip=1.0)
    rng = np.random.default_rng(4)
    light = grey * 2.0 ** rng.uniform(-3, 0.5, (24, 30, 3))
    keys = [np.interp(seconds, DRIFT.seconds, v) for v in (DRIFT.stops, DRIFT.mired, DRIFT.duv)]
    rows = (np.arange(24) + 0.5) / 24
    phase = 2 * np.pi * 100.0 * (seconds + 0.018 * rows)
    ripple = 0.08 * np.cos(phase) - 0.15 * np.sin(phase)
    ratio = ratio_by_colour_science(*keys, encoding.primaries)
    seen = encode(light * ratio * 2.0 ** ripple[:, None, None])

    found = steadied(seen, encoding, steady, seconds)

    np.testing.assert_allclose(found, encode(light), atol=2e-6)
    assert np.abs(seen - encode(light)).max() > 0.005


@pytest.mark.parametrize("name", NAMES)
def test_neutral_comes_out_neutral(name):
    """A grey scale that took on the colour of drifting light is grey again, below the blend."""
    encoding = named(name)
    steady = msgspec.structs.replace(DRIFT, clip=1.0)
    grey = channel_light(np.full(3, 0.45), encoding)[0] * 2.0 ** np.linspace(-3, 0, 20)
    ratio = neutral_ratio(0.4, 15.0, 0.004, encoding.primaries)
    seen = channel_signal(grey[:, None] * ratio, encoding)

    found = steadied(seen, encoding, steady, 1.0)

    assert np.ptp(seen, axis=1).max() > 0.005
    assert np.ptp(found, axis=1).max() < 1e-9


@pytest.mark.parametrize("name", ENCODINGS)
@pytest.mark.parametrize("gain", [-1.2, -0.3, -0.02, 0.02, 0.3, 1.2])
def test_what_is_clipped_stays_where_it_is(name, gain):
    """Of a blown window nothing moves: no grey that pulses, no colour where all channels end."""
    clip = 0.85
    signal = np.linspace(clip - HELD, SIGNAL_HIGH, 200)

    found = shifted(signal, np.full(200, gain), named(name), clip)

    np.testing.assert_array_equal(found, signal)


@settings(max_examples=150, deadline=None)
@given(
    name=st.sampled_from(sorted(ENCODINGS)),
    gain=st.floats(-2.0, 2.0),
    clip=st.floats(0.6, 1.0),
)
def test_a_brighter_signal_never_becomes_the_darker_one(name, gain, clip):
    """Tone stays in order for any gain and clip level, without a jump where the blend begins."""
    signal = np.linspace(SIGNAL_LOW, SIGNAL_HIGH, 3000)

    found = shifted(signal, np.full(3000, gain), named(name), clip)

    step = np.diff(found)
    assert step.min() >= -1e-12
    assert np.isfinite(found).all()
    assert SIGNAL_LOW <= found.min() <= found.max() <= SIGNAL_HIGH
    upper = signal[:-1] > clip - 0.1
    assert step[upper].max() < 0.01


@pytest.mark.parametrize("gain", [-0.5, -0.1, 0.1, 0.5])
def test_the_blend_bends_the_tone_by_no_more_than_half(gain):
    """Contrast in stops near the clip is from a half to one and a half, and whole further down."""
    encoding, clip = named("phone-log-1"), 0.9
    top = channel_light(np.full(3, clip - HELD), encoding)[0]
    below = np.linspace(0.001, 4.0, 4000)
    signal = channel_signal(top * 2.0**-below, encoding)

    out = shifted(signal, np.full(4000, gain), encoding, clip)

    stops = np.log2(channel_light(out, encoding) / top)
    contrast = np.diff(stops) / np.diff(-below)
    assert 0.5 - 1e-6 <= contrast.min() <= contrast.max() <= 1.5 + 1e-6
    whole = below[:-1] > 2.5 * abs(gain) + 1e-3
    np.testing.assert_allclose((stops + below)[:-1][whole], gain, atol=1e-9)


@pytest.mark.parametrize(
    "steady",
    [
        None,
        Steadying(),
        Steadying((0.0, 1.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0)),
        Steadying(ripple=Ripple(100.0, 0.02, 0.0, 0.0)),
    ],
    ids=["none", "no keys", "keys of nothing", "ripple of nothing"],
)
def test_nothing_to_undo_changes_no_bit(steady):
    """The picture is the same array, and the kernel is not asked to do anything."""
    signal = np.random.default_rng(1).uniform(-0.1, 1.2, (5, 7, 3)).astype(np.float32)
    encoding, rows = named("phone-log-1"), row_fractions(5)

    np.testing.assert_array_equal(steadied(signal, encoding, steady, 0.5), signal)
    assert steadied_picture(signal, encoding, steady, 0.5, rows) is signal
    assert moves_of(steady, encoding, 0.5, rows) is None


def test_a_moment_where_keys_say_nothing_changes_no_bit():
    """At the reference moment itself the signal is what it was."""
    signal = np.random.default_rng(1).uniform(0, 1, (50, 3))

    np.testing.assert_array_equal(steadied(signal, named("hlg"), DRIFT, 0.0), signal)


def test_input_that_means_nothing_is_finite():
    """NaN counts as 0 and infinities as the ends, as everywhere in a grade."""
    signal = np.array([[np.nan, np.inf, -np.inf]])

    found = steadied(signal, named("pq"), DRIFT, 1.0)

    assert np.isfinite(found).all()


def test_a_ripple_wants_rows():
    """Pixels that are no picture cannot be steadied without their rows."""
    steady = Steadying(ripple=RIPPLE)
    with pytest.raises(ValueError, match="rows"):
        steadied(np.zeros((4, 3)), named("hlg"), steady, 0.0)
    picture = np.random.default_rng(0).uniform(0.2, 0.6, (6, 5, 3))
    rows = np.repeat(row_fractions(6), 5)
    alone = steadied(picture.reshape(-1, 3), named("hlg"), steady, 0.4, rows)
    np.testing.assert_array_equal(
        steadied(picture, named("hlg"), steady, 0.4), alone.reshape(6, 5, 3)
    )


def test_rows_of_a_smaller_picture_lie_in_the_middle_of_its_boxes():
    """1083 rows in boxes of four: 270 rows whose middles lie 4/1083 apart; three rows are left."""
    rows = row_fractions(1083, 4)

    assert len(rows) == 270
    assert rows[0] == pytest.approx(2 / 1083)
    assert rows[-1] == pytest.approx(1078 / 1083)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("ripple", [None, RIPPLE], ids=["drift", "drift and ripple"])
def test_the_quick_picture_is_the_exact_one(name, ripple):
    """Tables are within half a ten-bit code of the formula, and 99.9 % within a twentieth."""
    steady = msgspec.structs.replace(DRIFT, ripple=ripple)
    signal = np.random.default_rng(2).uniform(-0.05, 1.05, (90, 120, 3)).astype(np.float32)
    exact = steadied(signal, named(name), steady, 0.83)

    quick = steadied_picture(signal, named(name), steady, 0.83, row_fractions(90))

    # below 0 phone log holds no light: codes there mean the same, and need not be the same
    off = 876 * np.abs(quick - exact)[signal >= 0]
    assert np.quantile(off, 0.999) < 0.05
    assert off.max() < 0.5


def graded_by_kernel(planes, compiled, grade, seconds):
    """Codes (n, 3) that the kernel makes of 4:4:4 planes, at 1/64 of a ten-bit code."""
    fine = PlaneFormat(16, 1, 1)
    out = fine.empty(*planes[0].shape)
    moves = moves_of(
        grade.levelling.steadying, grade.encoding, seconds, row_fractions(len(planes[0]))
    )
    kr_kb = (0.2126, 0.0722) if grade.encoding.matrix == "bt709" else (0.2627, 0.0593)
    grade_planes(
        planes, PlaneFormat(12, 1, 1), kr_kb, compiled.table(), out, fine, moves=moves, threads=1
    )
    return np.stack([plane.ravel() for plane in out], -1) / 64.0


@pytest.mark.oracle
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "ripple"),
    [("phone-log-1", RIPPLE), ("hlg", None), ("bt709", RIPPLE)],
    ids=["phone log, drift and ripple", "HLG, drift", "SDR, drift and ripple"],
)
def test_the_kernel_is_within_the_bound_of_a_compiled_grade(name, ripple):
    """Steadied and graded in one pass against `steadied` and the exact grade: luma, CIEDE2000.

    The picture is a scene of moderate colour with some that is clipped; 12 bits, so that the
    rounding of its codes does not stand in for accuracy.
    """
    encoding = named(name)
    steady = msgspec.structs.replace(DRIFT, ripple=ripple)
    output_transform = "plain-sdr" if name == "bt709" else "aces2-sdr"
    grade = Grade(encoding, Levelling(0.3, steadying=steady), output_transform=output_transform)
    rng = np.random.default_rng(9)
    light = rng.beta(2.0, 4.0, (60, 100, 1)) * (0.55 + 0.45 * rng.random((60, 100, 3)))
    light = light * 2.0 ** rng.uniform(-3.0, 2.5, (60, 100, 1))
    unit = channel_light(np.full(3, 0.7), encoding)[0]
    signal = np.clip(channel_signal(light * unit, encoding), 0.0, 0.9)
    codes = np.rint(4 * to_codes(signal.reshape(-1, 3), 10, encoding.matrix, "narrow"))
    planes = tuple(codes[:, k].reshape(60, 100).astype(np.uint16) for k in range(3))
    shot = _signal_of(codes / 4, encoding)
    moved = steadied(shot.reshape(60, 100, 3), encoding, steady, 0.83).reshape(-1, 3)
    output = output_encoding(output_transform)
    exact = to_codes(exact_transform(grade)(moved), 10, output.matrix, output.range)
    compiled = compile_grade(grade, moved)
    assert compiled.report.within_bound

    found = differences(exact, graded_by_kernel(planes, compiled, grade, 0.83), output)

    assert found.excess <= 1.0
    unsteady = differences(exact, compiled.codes(shot), output)
    assert unsteady.luma_p999 > 5.0


def _signal_of(codes, encoding):
    """H.273: narrow 10-bit codes to R'G'B'."""
    kr, kb = (0.2126, 0.0722) if encoding.matrix == "bt709" else (0.2627, 0.0593)
    y, cb, cr = (codes[:, 0] - 64) / 876, (codes[:, 1] - 512) / 896, (codes[:, 2] - 512) / 896
    red, blue = y + 2 * (1 - kr) * cr, y + 2 * (1 - kb) * cb
    return np.stack([red, (y - kr * red - kb * blue) / (1 - kr - kb), blue], -1)


def test_another_steadying_is_another_grade():
    """A master is made anew when its clip's steadying changes, or where its lights are pinned."""
    grades = [
        Grade(named("hlg"), Levelling(steadying=steadying))
        for steadying in (
            None,
            DRIFT,
            msgspec.structs.replace(DRIFT, clip=0.95),
            msgspec.structs.replace(DRIFT, ripple=RIPPLE),
        )
    ]

    assert len({grade_digest(grade) for grade in grades}) == 4
