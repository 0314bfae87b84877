"""Clipped and crushed shares of pictures whose ends were cut on purpose."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, transfer_of
from evenhand.measure.ends import clip_code, measure_ends
from evenhand.measure.scopes import measure_scopes

LOG = ENCODINGS["phone-log-1"]


def scene(clip: float = 1e9, seed: int = 5) -> np.ndarray:
    """(120, 160, 3) log signal of light over ten stops, a lamp 6 % of the picture, with noise."""
    rng = np.random.default_rng(seed)
    light = 0.18 * 2.0 ** rng.normal(-0.5, 1.6, (120, 160, 1)).repeat(3, 2)
    light[:40, :29] = 30.0 * 2.0 ** rng.normal(0, 0.5, (40, 29, 1))  # 6.04 % of the picture
    signal = transfer_of(LOG).to_signal(np.minimum(light, clip))
    return (signal + rng.normal(0, 0.7 / 876, signal.shape)).astype(np.float32)


@pytest.mark.parametrize("light", [2.0, 6.0, 11.0])
def test_the_level_and_area_of_a_sensor_clip(light: float) -> None:
    """Light cut at 2, 6 or 11 is found within 3 codes, and the lost area within half a percent."""
    picture = scene(light)
    cut = float(transfer_of(LOG).to_signal(np.full(3, light))[0])
    unclipped = np.exp2(np.random.default_rng(5).normal(-0.5, 1.6, (120, 160))) * 0.18
    unclipped[:40, :29] = 30.0
    lost = 100 * float((unclipped >= light).mean())

    code = clip_code(measure_scopes(picture, "bt2020").histogram)
    assert code == pytest.approx(64 + 876 * cut, abs=3)
    ends = measure_ends(picture, LOG, code)

    assert ends.clip_from == "picture"
    assert ends.clip_stops == pytest.approx(np.log2(light / 0.18), abs=0.05)
    assert ends.clipped == pytest.approx(lost, abs=0.5)


def test_a_picture_that_is_not_clipped_shows_no_spike() -> None:
    """Light that thins out towards the top is no clip, and the end of the encoding is used."""
    rng = np.random.default_rng(2)
    picture = rng.normal(0.45, 0.1, (120, 160, 1)).astype(np.float32).repeat(3, 2)

    code = clip_code(measure_scopes(picture).histogram)
    ends = measure_ends(picture, LOG, code)

    assert code is None
    assert (ends.clip_from, ends.clip_level, ends.clipped) == ("encoding", 100.0, 0.0)


def test_an_empty_histogram_has_no_clip() -> None:
    """No pixels, no clip."""
    assert clip_code(np.zeros((4, 1024), np.int64)) is None


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "percent", "stops"),
    [
        # first-generation phone log: no light is 0.15047645, signal 1 is light 12.000002 (its
        # white paper); BT.2100 HLG: signal 1 is E = 1, 1 / 0.26496256 of reference white;
        # BT.709 by BT.1886: 0 and 1
        ("phone-log-1", 15.047645, 6.0589),
        ("hlg", 0.0, np.log2(1 / 0.26496256 / 0.18)),
        ("bt709", 0.0, np.log2(1 / 0.18)),
    ],
)
def test_black_and_clip_of_an_encoding_are_its_published_ones(
    name: str, percent: float, stops: float
) -> None:
    """Without a clip in the picture, the levels are those of the encoding itself."""
    ends = measure_ends(np.full((2, 2, 3), 0.5, np.float32), ENCODINGS[name])

    assert ends.black_level == pytest.approx(percent, abs=6e-4)
    assert ends.clip_stops == pytest.approx(stops, abs=6e-4)


def test_crushed_is_the_share_at_the_code_of_no_light() -> None:
    """A quarter of the picture without light is crushed; two codes above it are still, five not."""
    black = 0.15047645
    picture = np.full((4, 20, 3), 0.4, np.float32)
    picture[0] = black
    picture[1, :10] = black + 2 / 876
    picture[2] = black + 5 / 876

    assert measure_ends(picture, LOG).crushed == pytest.approx(25 + 12.5)


def test_one_channel_at_the_clip_counts_as_clipped() -> None:
    """A red lamp is lost where red alone is at the clip."""
    picture = np.full((10, 10, 3), 0.5, np.float32)
    picture[:2, :, 0] = 1.0

    assert measure_ends(picture, ENCODINGS["bt709"]).clipped == pytest.approx(20)
