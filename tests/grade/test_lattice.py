"""Reading, baking and fitting a lattice."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest

from evenhand.grade.lattice import Lattice, bake, fitted, nodes, places, tetrahedral

UNIT = (0.0, 1.0)


def linear(signal):
    """A map that any interpolation must give back exactly; each output differs."""
    return 64.0 + signal @ np.array(
        [[500.0, 20.0, -30.0], [200.0, -90.0, 45.0], [100.0, 8.0, 70.0]]
    )


def curved(signal):
    return 64.0 + 876.0 * signal**2.2


AXIS = np.concatenate([[0.0], np.cumsum(np.linspace(3.0, 1.0, 40))])
AXIS = AXIS / AXIS[-1]


@pytest.mark.oracle
def test_reading_agrees_with_opencolorio():
    """Tetrahedral reading of random values, against OpenColorIO's."""
    values = np.random.default_rng(1).random((5, 5, 5, 4)).astype(np.float32)
    transform = ocio.Lut3DTransform(5)
    transform.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    # OpenColorIO's table runs blue fastest.
    transform.setData(np.ascontiguousarray(values[..., :3].transpose(2, 1, 0, 3)).ravel())
    signal = np.random.default_rng(2).random((500, 3))
    theirs = signal.astype(np.float32)
    ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor().applyRGB(theirs)

    np.testing.assert_allclose(Lattice(values, UNIT).read(signal), theirs, atol=3e-6)


@pytest.mark.parametrize("domain", [UNIT, (-0.073, 1.095)])
@pytest.mark.parametrize("axis", [None, AXIS])
def test_nodes_hold_the_exact_value(domain, axis):
    """At a node, whatever the spacing, reading gives what was baked."""
    lattice = bake(curved if domain == UNIT else linear, 9, domain, axis)
    along = nodes(9, domain, axis)
    signal = np.stack([along[[2, 3, 8]], along[[0, 5, 7]], along[[4, 4, 1]]], axis=-1)
    exact = (curved if domain == UNIT else linear)(signal)

    np.testing.assert_allclose(lattice.read(signal), exact, atol=1e-3)


def test_a_linear_map_is_read_without_error():
    """Between nodes too, on equal steps."""
    signal = np.random.default_rng(3).random((200, 3))

    np.testing.assert_allclose(bake(linear, 5, UNIT, None).read(signal), linear(signal), atol=1e-3)


def test_signals_beyond_the_domain_are_clamped():
    """They read as the nearest edge."""
    lattice = bake(linear, 5, UNIT, None)

    np.testing.assert_allclose(
        lattice.read([[-0.2, 0.5, 1.3]]), linear(np.array([[0.0, 0.5, 1.0]])), atol=1e-3
    )


def test_places_and_nodes_undo_each_other():
    """A node's signal lies at its own place on a bent axis."""
    signal = nodes(33, (-0.1, 1.1), AXIS)

    np.testing.assert_allclose(places(signal, (-0.1, 1.1), AXIS), np.linspace(0, 1, 33), atol=1e-12)


def test_grey_reads_only_grey_nodes():
    """Colours off the diagonal may be anything: r = g = b never sees them."""
    values = np.random.default_rng(4).random((4, 4, 4, 4)).astype(np.float32)
    for k in range(4):
        values[k, k, k] = k
    grey = np.repeat(np.linspace(0.0, 3.0, 31)[:, None], 3, axis=1)

    np.testing.assert_allclose(tetrahedral(values, grey), grey, atol=1e-12)


def test_fitting_halves_the_error_on_pixels_it_has_not_seen():
    """A bent map at few nodes: fitted to some pixels, better on others."""
    rng = np.random.default_rng(5)
    seen, unseen = rng.random((20_000, 3)), rng.random((5_000, 3))
    raw = bake(curved, 9, UNIT, None)

    better = fitted(raw, seen, curved(seen))

    before, after = (np.abs(lat.read(unseen) - curved(unseen)) for lat in (raw, better))
    assert np.quantile(after, 0.99) < 0.7 * np.quantile(before, 0.99)
    assert after.mean() < 0.5 * before.mean()


def test_fitting_leaves_nodes_without_pixels_and_the_chroma_of_grey():
    """What was not seen stays as baked, and so does neutral."""
    seen = np.random.default_rng(6).uniform(0.5, 1.0, (5_000, 3))
    raw = bake(curved, 9, UNIT, None)

    better = fitted(raw, seen, curved(seen) + 5.0)

    np.testing.assert_array_equal(better.values[:4, :4, :4], raw.values[:4, :4, :4])
    diagonal = np.arange(9)
    np.testing.assert_array_equal(
        better.values[diagonal, diagonal, diagonal, 1:3],
        raw.values[diagonal, diagonal, diagonal, 1:3],
    )
    assert better.values[6, 6, 6, 0] > raw.values[6, 6, 6, 0] + 1.0
    np.testing.assert_array_equal(better.values[..., 3], better.values[..., 0])
