"""Colour histograms, and the white that is proposed where no view is shared."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.measure import ratios
from evenhand.measure.colours import (
    brightness_shift,
    colour_histogram,
    colour_likeness,
    tone_deciles,
)
from evenhand.measure.places import ClipView, PictureNumbers
from evenhand.measure.proposals import MOST_MIRED, STRENGTH, propose
from evenhand.measure.views import AnalysisFrame, Features, features

SIZE = (640, 360)
Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]
GOOD = PictureNumbers(clipped=0.0, crushed=0.0, middle=0.12, seconds=10.0)


def clip(name: str, features: Features) -> ClipView:
    """A clip of one frame."""
    return ClipView(name, None, 0, named("phone-log-1"), (features,), GOOD)


def recorded(scene: Scene, seen: Seen, fault: camera.Fault) -> Features:
    """One view of one scene with a fault."""
    rng = np.random.default_rng(1)
    return seen(camera.record(camera.View().of(scene(8), SIZE, rng), fault, rng))


def test_the_shift_of_colours_is_the_white_fault(scene: Scene, seen: Seen) -> None:
    """For one and the same picture the histograms tell the white to a bin or so (1/32 stop)."""
    a, b = (recorded(scene, seen, camera.Fault(s, m)) for s, m in ((0.0, 0.0), (0.4, 20.0)))
    first, second = colour_histogram([a]), colour_histogram([b])
    assert first is not None
    assert second is not None
    found = colour_likeness(first, second)

    assert found.shift.mired == pytest.approx(20, abs=3)
    assert found.shifted > 0.9
    assert found.as_shot < found.shifted
    assert brightness_shift(tone_deciles([a]), tone_deciles([b])) == pytest.approx(0.4, abs=0.1)


def test_only_part_of_the_shift_is_proposed(scene: Scene, seen: Seen) -> None:
    """Sixty percent, and never more than the cap; the reason holds it."""
    a = clip("a", recorded(scene, seen, camera.Fault()))
    for mired, expected in ((20.0, STRENGTH * 20), (70.0, MOST_MIRED)):
        b = clip("b", recorded(scene, seen, camera.Fault(0.0, mired)))
        found = propose(a, b, np.zeros(3))

        assert found is not None
        proposed = 1e6 / found.white.kelvin - 1e6 / ratios.white_of(np.zeros(3)).kelvin
        assert proposed == pytest.approx(expected, abs=3)
        assert found.why[0].facts["share"] == STRENGTH


def test_the_reference_s_own_correction_is_added(scene: Scene, seen: Seen) -> None:
    """Where a grey card moves the reference, the proposal moves with it."""
    a, b = (clip(n, recorded(scene, seen, camera.Fault())) for n in "ab")
    fault = ratios.gains_of(np.array([1.1, 1.0, 0.85]))
    found = propose(a, b, fault)

    assert found is not None
    assert found.white.kelvin == pytest.approx(ratios.white_of(fault).kelvin, rel=0.02)


def test_nothing_is_proposed_where_there_is_nothing_to_do(scene: Scene, seen: Seen) -> None:
    """Equal colours give no proposal, and neither does a clip without light."""
    a = clip("a", recorded(scene, seen, camera.Fault()))
    black = np.zeros((360, 640, 3), np.float32)
    dark = clip("b", features(AnalysisFrame(black, black, 1.0, 0.004)))

    assert propose(a, a, np.zeros(3)) is None
    assert propose(a, dark, np.zeros(3)) is None
