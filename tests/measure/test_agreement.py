"""Solving one exposure and white a clip from matches of pairs."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.measure.agreement import Edge, agree


def edge(a: str, b: str, stops: float, error: float = 0.01) -> Edge:
    """A match in exposure alone."""
    return Edge(a, b, np.full(3, stops), error, error * 100)


def test_a_chain_adds_up() -> None:
    """What is matched through another clip has the sum of the two, and the greater error."""
    found = agree("a", [edge("a", "b", 0.5), edge("c", "b", 0.2)])

    assert found.gains["c"] == pytest.approx(np.full(3, 0.3), abs=1e-9)
    assert found.paths["c"] == ("a", "b", "c")
    assert found.errors["c"][0] == pytest.approx(0.01 * np.sqrt(2), rel=1e-6)
    assert found.errors["a"] == (0.0, 0.0)


def test_what_is_not_connected_is_left_out() -> None:
    """Clips that no chain leads to do not appear."""
    found = agree("a", [edge("a", "b", 0.5), edge("x", "y", 0.2)])

    assert set(found.gains) == {"a", "b"}


def test_a_loop_that_closes_shares_its_small_error() -> None:
    """Three matches that miss by 0.03 stop: each takes a third, and the loop is told."""
    found = agree("a", [edge("a", "b", 0.5), edge("b", "c", 0.5), edge("a", "c", 1.03)])

    assert found.gains["c"][0] == pytest.approx(1.02, abs=1e-6)
    [loop] = found.loops
    assert abs(loop.closure.stops) == pytest.approx(0.03, abs=1e-6)
    assert found.dropped == ()


def test_the_wrong_match_of_open_loops_is_dropped() -> None:
    """Of four clips and all six matches, the one that is off by a stop goes, and no other."""
    good = [edge("a", "b", 0.1), edge("b", "c", 0.1), edge("c", "d", 0.1), edge("a", "c", 0.2)]
    found = agree("a", [*good, edge("a", "d", 0.3), edge("b", "d", 1.2)])

    assert [(e.a, e.b) for e in found.dropped] == [("b", "d")]
    assert found.gains["d"] == pytest.approx(np.full(3, 0.3), abs=1e-6)


def test_the_less_sure_match_of_one_open_loop_is_dropped() -> None:
    """A single triangle cannot tell who is wrong but by the errors that the matches state."""
    found = agree("a", [edge("a", "b", 0.5), edge("b", "c", 0.5), edge("a", "c", 1.4, error=0.05)])

    assert [(e.a, e.b) for e in found.dropped] == [("a", "c")]
    assert found.gains["c"] == pytest.approx(np.full(3, 1.0), abs=1e-6)


def test_a_lone_reference_is_solved() -> None:
    """Without matches there is the reference alone."""
    found = agree("a", [])

    assert list(found.gains) == ["a"]
    assert found.loops == ()
