"""Faults and camera: against published values, colour-science and closed forms."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.colourmath.primaries import rgb_to_xyz
from first_bread.camera import OFFSET, VARIANCE, Sensor, expose, near_depth, noise_tile
from first_bread.clip import fault_matrix, frame_times
from first_bread.story import SHOTS


@pytest.mark.oracle
@pytest.mark.parametrize("shot", SHOTS, ids=lambda shot: shot.name[:4])
def test_neutral_lands_at_the_written_white(shot: object) -> None:
    """Ohno's method in colour-science finds the kelvin and Duv of a faulty white again."""
    matrix = fault_matrix(shot.stops, shot.kelvin, shot.duv)
    xyz = rgb_to_xyz("bt2020") @ matrix @ np.ones(3)
    uv = colour.UCS_to_uv(colour.XYZ_to_UCS(xyz))
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(uv)
    assert kelvin == pytest.approx(shot.kelvin, abs=2.0)
    assert duv == pytest.approx(shot.duv, abs=2e-5)
    assert np.log2(xyz[1]) == pytest.approx(shot.stops, abs=1e-9)


def test_variable_rate_times_rise() -> None:
    """Times start at 0 and rise by 20 to 48 ticks; one shot of the card has them."""
    varied = [shot for shot in SHOTS if shot.variable_rate]
    assert [shot.name[:4] for shot in varied] == ["A006"]
    times = frame_times(varied[0], 50, np.random.default_rng(3))
    assert times[0] == 0
    assert set(np.diff(times)) <= {20, 22, 24, 26, 48}


def _exposed(encoding: str, grain: float, light: float, bits: int = 10) -> list[np.ndarray]:
    """Planes of a flat picture of one light, 4:2:2."""
    h, w = 64, 128
    canvas = np.full((h + 8, w + 8, 4), light, np.float32)
    planes = (np.empty((h, w), np.uint16), *np.empty((2, h, w // 2), np.uint16))
    sensor = Sensor.of(named(encoding), grain, 12.0, bits)
    depth = near_depth(np.ones((h + 8, w + 8), np.float32))
    still = (np.eye(3), np.zeros(2), np.zeros((0, 6), np.float32))
    expose(canvas, depth, *still, noise_tile(w, side=64), (5, 7), sensor, planes)
    return list(planes)


@pytest.mark.oracle
@pytest.mark.slow
@pytest.mark.parametrize(
    ("encoding", "light", "bits", "code"),
    [
        ("phone-log-1", 0.18, 10, 492),  # log profile white paper of 2023: 0.48827246
        ("phone-log-1", 1.0, 10, 672),  # the same: 0.69455298
        ("hlg", 1.0, 10, 721),  # BT.2408: reference white at 75 %
        ("bt709", 0.18, 8, 123),  # BT.1886 with black 0: 0.18 ** (1 / 2.4) = 0.48948
    ],
)
def test_codes_of_greys(encoding: str, light: float, bits: int, code: int) -> None:
    """A grey without noise has the published code, and neutral chroma."""
    luma, cb, cr = _exposed(encoding, 0.0, light, bits)
    assert np.abs(luma.astype(int) - code).max() == 0
    assert {1 << (bits - 1)} == set(np.unique(cb)) | set(np.unique(cr))


@pytest.mark.slow
@pytest.mark.parametrize("light", [0.05, 0.18, 1.0])
def test_noise_has_the_written_variance(light: float) -> None:
    """Noise of a flat picture, back in light, has variance a (x + 0.01) as the truth says."""
    grain = 40.0
    tile = noise_tile(16)[:2]
    assert tile[:, :, :1031].var() == pytest.approx(1.0, rel=1e-3)
    planes = _exposed("phone-log-1", grain, light)
    luma = planes[0] / 876.0 - 64.0 / 876.0
    slope = 0.08550479 / np.log(2) / (light + 0.00964052)  # of the curve at this light
    # Luma mixes channels whose noise is partly shared: the tile's own luma says how much.
    weights = np.array([0.2627, 0.6780, 0.0593])
    shared = np.tensordot(weights, noise_tile(128, side=64)[..., :64], 1).var()
    expected = VARIANCE * grain * (light + OFFSET) * slope**2 * shared
    assert luma.var() == pytest.approx(expected, rel=0.15)
