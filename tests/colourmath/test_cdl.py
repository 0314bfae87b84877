"""The ASC CDL, against hand-worked values and OpenColorIO."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.colourmath import acescct
from evenhand.colourmath.cdl import apply_cdl
from evenhand.grade.document import Cdl


def cdl(slope=(1, 1, 1), offset=(0, 0, 0), power=(1, 1, 1), saturation=1.0):
    return Cdl(slope, offset, power, saturation)


# ASC CDL 1.2 by hand; OpenColorIO agrees to 1e-7.
CASES = [
    (
        (0.25, 0.5, 0.75),
        cdl((1.2, 1, 0.8), (0.02, 0, -0.01), (1.1, 1, 0.9), 0.8),
        (0.321073, 0.492642, 0.590215),
        (0.321073, 0.492642, 0.590215),
    ),
    ((0.18,) * 3, cdl(slope=(1.5, 1, 0.5), saturation=0), (0.192636,) * 3, (0.192636,) * 3),
    (
        (0.1, 0.4, 0.9),
        cdl((1.5, 1.2, 1.3), (-0.2, 0.05, 0.1), (0.8, 1, 1.2), 1.3),
        (0.0, 0.553623, 1.0),
        (-0.204383, 0.549617, 1.592457),
    ),
    (
        (-0.1, 0.5, 1.2),
        cdl(power=(1.2, 1.2, 1.2)),
        (0.0, 0.435275, 1.0),
        (-0.1, 0.435275, 1.244565),
    ),
]


@pytest.mark.parametrize(("values", "decision", "clamped", "free"), CASES)
def test_both_forms_give_the_known_values(values, decision, clamped, free):
    """The standard's clamping form, and the form that clamps nothing."""
    np.testing.assert_allclose(apply_cdl(values, decision, clamp=True), clamped, atol=6e-7)
    np.testing.assert_allclose(apply_cdl(values, decision, clamp=False), free, atol=6e-7)


@pytest.mark.oracle
@pytest.mark.parametrize("clamp", [True, False])
def test_opencolorio_agrees(clamp):
    """OpenColorIO's ASC and no-clamp styles, on values inside and outside 0..1."""
    decision = CASES[2][1]
    style = ocio.CDL_ASC if clamp else ocio.CDL_NO_CLAMP
    transform = ocio.CDLTransform(
        decision.slope, decision.offset, decision.power, decision.saturation
    )
    transform.setStyle(style)
    processor = ocio.Config.CreateRaw().getProcessor(transform)
    values = np.random.default_rng(2).uniform(-0.3, 1.5, (200, 3))
    theirs = values.astype(np.float32)
    processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS).applyRGB(theirs)

    ours = apply_cdl(values, decision, clamp=clamp)

    np.testing.assert_allclose(ours, theirs, atol=2e-6)


@settings(deadline=None)
@given(st.tuples(*[st.floats(-2.0, 2.0)] * 3))
def test_a_neutral_cdl_changes_nothing(values):
    """Without a clamp even values beyond 0..1 stay to the bit."""
    np.testing.assert_array_equal(apply_cdl(values, Cdl(), clamp=False), values)


# AMPAS S-2016-001, table of test values as its formula gives them.
@pytest.mark.parametrize(
    ("light", "signal"),
    [
        (-0.01, -0.03249684),
        (0.0, 0.07290553),
        (0.0078125, 0.15525114),
        (0.18, 0.41358840),
        (1.0, 0.55479452),
        (16.0, 0.78310502),
        (65504.0, 1.46799631),
    ],
)
def test_acescct_both_ways(light, signal):
    """ACEScct's two pieces, from below black to the largest half float."""
    assert float(acescct.from_linear(light)) == pytest.approx(signal, abs=6e-9)
    assert float(acescct.to_linear(signal)) == pytest.approx(light, rel=2e-7, abs=1e-8)
