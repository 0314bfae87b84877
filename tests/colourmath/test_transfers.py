"""The transfer curves against published codes, two reference libraries, and themselves."""

from __future__ import annotations

import colour
import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath.encodings import ENCODINGS, named, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.colourmath.transfers import TRANSFERS
from evenhand.errors import UsageError

LOGS = [name for name, row in TRANSFERS.items() if row.kind == "log"]


def signal_of(name: str, light: float, code_range: str = "full") -> float:
    return float(TRANSFERS[name].to_signal(np.full(3, light), code_range)[1])


def light_of(name: str, signal: float, code_range: str = "full") -> float:
    return float(TRANSFERS[name].to_light(np.full(3, signal), code_range)[1])


# The white paper's formula worked out by hand, and colour-science; both agree to these digits.
@pytest.mark.parametrize(
    ("light", "signal"),
    [
        (-0.05641088, 0.0),
        (0.0, 0.15047645),
        (0.01, 0.20855532),
        (0.09, 0.40888444),
        (0.18, 0.48827246),
        (0.90, 0.68168680),
        (1.00, 0.69455298),
        (8.00, 0.95003238),
        (12.000002, 1.0),
    ],
)
def test_phone_log_is_the_published_curve(light, signal):
    """Both branches of phone log land on the published signals, both ways."""
    assert signal_of("phone-log", light) == pytest.approx(signal, abs=1e-8)
    assert light_of("phone-log", signal) == pytest.approx(light, abs=2e-6)


# colour-science and OpenColorIO agree on these to 5e-7; grey and white codes are the makers' own
# published figures where the comment of the row names them.
@pytest.mark.parametrize(
    ("name", "black", "grey", "white", "light_8"),
    [
        ("slog3", 0.0928641, 0.4105572, 0.5844528, 0.8259099),
        ("logc3", 0.0928090, 0.3910068, 0.5594319, 0.7929872),
        ("logc4", 0.0928641, 0.2783958, 0.4179594, 0.6195972),
        ("vlog", 0.1250000, 0.4233114, 0.5881674, 0.8164293),
        ("clog2", 0.0928641, 0.3982547, 0.5623043, 0.7902575),
        ("clog3", 0.1251222, 0.3433894, 0.5644736, 0.9038432),
        ("log3g10", 0.0915515, 0.3333329, 0.4833605, 0.6946094),
        ("acescct", 0.0729055, 0.4135884, 0.5461185, 0.7260274),
    ],
)
def test_camera_logs_are_the_published_curves(name, black, grey, white, light_8):
    """Every camera log agrees with two libraries at black, grey, white and far above."""
    found = [signal_of(name, light) for light in (0.0, 0.18, 0.90, 8.0)]

    assert found == pytest.approx([black, grey, white, light_8], abs=6e-8)


@pytest.mark.parametrize(
    ("name", "code", "source"),
    [
        ("slog3", 420, "Technical Summary for S-Gamut3.Cine/S-Log3: 18 % grey is code 420"),
        ("vlog", 433, "V-Log/V-Gamut Reference Manual: 18 % grey is code 433"),
        ("phone-log", 492, "formula, carried on 64..940"),
        ("logc3", 407, "curve 0.391 carried on 64..940 (from memory)"),
    ],
)
def test_grey_lands_on_the_code_of_a_narrow_file(name, code, source):
    """A curve that is published on code/1023 keeps its codes when the file is narrow."""
    assert round(64 + 876 * signal_of(name, 0.18, "narrow")) == code, source


@pytest.mark.parametrize(
    ("signal", "light"),
    [(0.25, 0.02083333), (0.38, 0.04813333), (0.75, 0.26496256), (0.9, 0.58183759)],
)
def test_hlg_light_is_the_inverse_oetf_scaled(signal, light):
    """BT.2100 table 5, scaled so that 75 % of signal is diffuse white (BT.2408)."""
    assert light_of("hlg", signal) == pytest.approx(light / 0.26496256, rel=1e-6)


def test_pq_takes_the_road_of_hlg():
    """203 cd/m² (BT.2408 reference white) is light 1, 26 cd/m² is the grey card, as in HLG."""
    white = colour.models.eotf_inverse_BT2100_PQ(203.0)
    grey = colour.models.eotf_inverse_BT2100_PQ(25.951)

    assert light_of("pq", white) == pytest.approx(1.0, abs=1e-3)
    assert light_of("pq", grey) == pytest.approx(0.18, abs=1e-5)


@pytest.mark.oracle
def test_pq_colour_matches_the_reference_display():
    """HLG signal → light → PQ signal gives the light of the HLG EOTF of colour-science."""
    hlg = np.random.default_rng(3).uniform(0.02, 1.0, (200, 3))
    expected = colour.models.eotf_BT2100_HLG(hlg, L_B=0, L_W=1000)

    pq = TRANSFERS["pq"].to_signal(TRANSFERS["hlg"].to_light(hlg))

    np.testing.assert_allclose(colour.models.eotf_BT2100_PQ(pq), expected, rtol=3e-5, atol=1e-5)


@pytest.mark.oracle
def test_srgb_and_bt1886_match_colour_science():
    """Display curves agree with colour-science, which has them from IEC 61966-2-1 and BT.1886."""
    signal = np.linspace(0.0, 1.0, 101)

    srgb = TRANSFERS["srgb"].to_light(signal)
    bt1886 = TRANSFERS["bt1886"].to_light(signal)

    np.testing.assert_allclose(srgb, colour.models.eotf_sRGB(signal), atol=1e-12)
    np.testing.assert_allclose(bt1886, colour.models.eotf_BT1886(signal), atol=1e-12)


def builtin_of(encoding):
    """OpenColorIO's transform of an encoding, found by what it does to a grey ramp and a red."""
    transfer = transfer_of(encoding)
    lights = np.array([0.01, 0.18, 0.9, 8.0])
    ramp = np.repeat(transfer.to_signal(lights, "full")[:, None], 3, axis=1).astype(np.float32)
    red = transfer.to_signal(np.array([[0.5, 0.1, 0.05]]), "full").astype(np.float32)
    wanted = np.array([0.5, 0.1, 0.05]) @ rgb_to_rgb(encoding.primaries, "ap0").T
    config = ocio.Config.CreateRaw()
    for style, _ in ocio.BuiltinTransformRegistry().getBuiltins():
        processor = config.getProcessor(ocio.BuiltinTransform(style)).getOptimizedCPUProcessor(
            ocio.OPTIMIZATION_LOSSLESS
        )
        grey, colour_ = ramp.copy(), red.copy()
        processor.applyRGB(grey)
        processor.applyRGB(colour_)
        if np.allclose(grey.mean(axis=1), lights, rtol=2e-3) and np.allclose(
            colour_, wanted, rtol=2e-3, atol=1e-3
        ):
            return processor
    return None


@pytest.mark.oracle
@pytest.mark.parametrize(
    "name", ["phone-log-1", "phone-log-2", *(n for n in ENCODINGS if n in LOGS), "slog3-cine"]
)
def test_encoding_matches_the_opencolorio_builtin(name):
    """Signal to ACES2065-1 agrees with OpenColorIO's own transform of the same curve and gamut."""
    encoding = named(name)
    processor = builtin_of(encoding)
    assert processor is not None, "no transform in OpenColorIO's registry does what ours does"
    signal = np.random.default_rng(7).uniform(0.1, 0.85, (500, 3))
    theirs = signal.astype(np.float32)
    processor.applyRGB(theirs)

    ours = transfer_of(encoding).to_light(signal, "full") @ rgb_to_rgb(encoding.primaries, "ap0").T

    # OpenColorIO carries some curves as tables of half floats: 2e-5 of the brightest channel.
    scale = np.abs(ours).max(axis=1, keepdims=True)
    assert (np.abs(ours - theirs) <= 2e-5 * scale + 1e-5).all()


@pytest.mark.parametrize("name", [n for n in TRANSFERS if n != "pq"])
@settings(deadline=None)
@given(light=st.floats(0.0, 8.0))
def test_light_survives_the_round_trip(name, light):
    """What is coded comes back, in both ranges, from black to far above white."""
    for code_range in ("narrow", "full"):
        back = light_of(name, signal_of(name, light, code_range), code_range)

        assert back == pytest.approx(light, rel=1e-6, abs=1e-7)


@settings(deadline=None)
@given(st.lists(st.floats(0.001, 8.0), min_size=3, max_size=3))
def test_pq_colours_survive_the_round_trip(light):
    """PQ mixes the channels on its way, and still comes back."""
    there = TRANSFERS["pq"].to_signal(np.array(light))

    np.testing.assert_allclose(TRANSFERS["pq"].to_light(there), light, rtol=1e-6, atol=1e-7)


@pytest.mark.parametrize("name", TRANSFERS)
@settings(deadline=None)
@given(low=st.floats(-64 / 876, 959 / 876), high=st.floats(-64 / 876, 959 / 876))
def test_more_signal_is_never_less_light(name, low, high):
    """Every curve rises over all that narrow codes can say, sub-black and superwhite too."""
    if low > high:
        low, high = high, low

    assert light_of(name, low, "narrow") <= light_of(name, high, "narrow") + 1e-7
    assert np.isfinite(light_of(name, high, "narrow"))


@pytest.mark.parametrize("name", TRANSFERS)
def test_nan_stays_nan(name):
    """A pixel that is not a number does not turn into a colour, in either direction."""
    transfer = TRANSFERS[name]

    assert np.isnan(transfer.to_light([np.nan] * 3)).all()
    assert np.isnan(transfer.to_signal([np.nan] * 3)).all()


@pytest.mark.parametrize(
    ("name", "peak", "black"),
    [
        ("phone-log", 12.000002, 0.15047645),
        ("hlg", 3.7741182, 0.0),
        ("bt1886", 1.0, 0.0),
        ("srgb", 1.0, 0.0),
    ],
)
def test_peak_and_black_are_the_ends_of_the_curve(name, peak, black):
    """Peak is the light at signal 1, black the signal of no light."""
    assert TRANSFERS[name].peak == pytest.approx(peak, rel=1e-6)
    assert TRANSFERS[name].black == pytest.approx(black, abs=1e-7)


def test_every_row_names_its_source():
    """No curve without a source."""
    assert all(row.source and row.title for row in TRANSFERS.values())


def test_an_unknown_encoding_is_refused_with_the_names():
    """The error names what was typed and lists what may be."""
    with pytest.raises(UsageError, match=r"phone-log-3.*phone-log-1"):
        named("phone-log-3")
