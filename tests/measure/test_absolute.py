"""A chart or a grey card sets a place; statistics never do; warmth may be kept."""

from __future__ import annotations

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.white import levelling_matrix
from evenhand.measure import ratios
from evenhand.measure.decisions import ChartSample, GreySample, LevelDecision, Link, Match, Place
from evenhand.measure.levelling import level_place
from evenhand.measure.reference import BY_HAND
from evenhand.reasons import because

PLACE = Place("shop", ("a", "b", "c"), "a", BY_HAND, ())
FAULT = camera.Fault(-0.5, 40, 0.006)


def linked(stops: float) -> Link:
    """Clip b, brighter than a by so much and otherwise the same."""
    match = Match(True, (), stops=stops, gains=(stops,) * 3, stops_error=0.004, mired_error=0.4)
    return Link("a", "b", match)


def neutral(fault: camera.Fault, grey: float = 0.18) -> tuple[float, float, float]:
    """What the simulated camera makes of a grey."""
    r, g, b = fault.matrix() @ np.full(3, grey)
    return float(r), float(g), float(b)


def chart(clip: str, fault: camera.Fault, error: float = 0.01) -> ChartSample:
    """A chart that tells a fault."""
    r, g, b = (float(x) for x in ratios.gains_of(fault.matrix() @ np.ones(3)))
    return ChartSample(
        clip=clip, time=1.0, corners=(), gains=(r, g, b), stops_error=error,
        mired_error=100 * error, residual=0.1, worst_grey=0.1, patch_difference=1.5,
        why=(because("chart.patches-agree", residual=0.1, worst_grey=0.1),),
    )  # fmt: skip


def levelled(decision: LevelDecision, light: tuple[float, float, float]) -> np.ndarray:
    """Light with the decision applied."""
    return np.asarray(levelling_matrix(decision.stops, decision.white) @ np.array(light))


def mired(light: np.ndarray) -> float:
    """How much warmer than D65 a light is."""
    return ratios.difference_of(ratios.gains_of(light)).mired


def test_without_chart_or_card_references_are_untouched() -> None:
    """Whatever the person wants to keep: nothing absolute is known, so nothing is set."""
    for keep in (0.0, 0.3, 1.0):
        a, b, c = level_place(PLACE, {}, [linked(0.4)], keep_warmth=keep)

        assert (a.status, a.stops, a.white) == ("reference", 0.0, None)
        assert (b.stops, b.white) == (pytest.approx(-0.4, abs=1e-6), None)
        assert (c.status, c.stops, c.white) == ("unchanged", 0.0, None)


def test_a_chart_sets_the_reference_and_what_follows_it() -> None:
    """An 18 % grey in its light becomes 18 % and D65 in both clips; the third stays."""
    a, b, c = level_place(PLACE, {}, [linked(0.4)], charts=[chart("a", FAULT)])

    assert [d.status for d in (a, b, c)] == ["chart", "matched", "unchanged"]
    assert levelled(a, neutral(FAULT)) == pytest.approx(np.full(3, 0.18), rel=1e-4)
    brighter = camera.Fault(FAULT.stops + 0.4, FAULT.mired, FAULT.duv)
    assert levelled(b, neutral(brighter)) == pytest.approx(np.full(3, 0.18), rel=1e-4)
    assert (c.stops, c.white) == (0.0, None)
    [own] = [r for r in a.why if r.code == "anchor.own-chart"]
    assert own.facts["seconds"] == 1.0
    assert own.facts["stops"] == pytest.approx(FAULT.stops, abs=1e-3)
    [told] = [r for r in b.why if r.code == "anchor.elsewhere"]
    assert (told.facts["by"], told.facts["clip"]) == ("chart", "a")
    assert (a.chart is not None, b.chart) == (True, None)


def test_a_chart_is_trusted_before_a_grey_card_and_they_are_compared() -> None:
    """The card says something else: the chart counts, and the difference is told."""
    other = camera.Fault(FAULT.stops + 0.3, FAULT.mired, FAULT.duv)
    grey = GreySample("a", neutral(other), spread=0.01)
    a = level_place(PLACE, {}, [], [grey], [chart("a", FAULT)])[0]

    assert a.status == "chart"
    assert a.stops == pytest.approx(0.5, abs=1e-3)
    [compared] = [r for r in a.why if r.code == "anchor.compared"]
    assert (compared.facts["by"], compared.facts["clip"]) == ("grey_card", "a")
    assert compared.facts["stops"] == pytest.approx(0.3, abs=1e-3)
    assert compared.facts["mired"] == pytest.approx(0.0, abs=0.1)


def test_the_chart_with_the_smaller_error_counts() -> None:
    """Of charts in two connected clips, the one whose greys agree better."""
    charts = [chart("a", camera.Fault(0.3), error=0.04), chart("b", camera.Fault(0.0), error=0.01)]
    a, b, _ = level_place(PLACE, {}, [linked(0.4)], charts=charts)

    assert (a.status, b.status) == ("reference", "chart")
    assert b.stops == pytest.approx(0.0, abs=1e-6)
    assert a.stops == pytest.approx(0.4, abs=1e-6)


def test_a_chart_in_a_clip_that_nothing_connects_sets_that_clip() -> None:
    """Its own clip alone."""
    a, b, c = level_place(PLACE, {}, [linked(0.4)], charts=[chart("c", FAULT)])

    assert c.status == "chart"
    assert levelled(c, neutral(FAULT)) == pytest.approx(np.full(3, 0.18), rel=1e-4)
    assert (a.stops, a.white) == (0.0, None)
    assert b.white is None


@pytest.mark.parametrize("keep", [0.0, 0.3, 1.0])
def test_that_share_of_the_warmth_is_kept(keep: float) -> None:
    """In mired along the locus, in every clip alike; green goes, and the exposure is right."""
    a, b, _ = level_place(PLACE, {}, [linked(0.4)], charts=[chart("a", FAULT)], keep_warmth=keep)
    brighter = camera.Fault(FAULT.stops + 0.4, FAULT.mired, FAULT.duv)
    warmth = mired(np.array(neutral(FAULT, 1.0)))

    for decision, fault in ((a, FAULT), (b, brighter)):
        white = levelled(decision, neutral(fault, 1.0))
        found = ratios.difference_of(ratios.gains_of(white))
        assert found.mired == pytest.approx(keep * warmth, abs=0.05)
        assert found.duv == pytest.approx(0.0, abs=2e-5)
        assert found.stops == pytest.approx(0.0, abs=1e-3)
    kept = [r.facts["mired"] for r in a.why if r.code == "anchor.warmth-kept"]
    assert kept == ([pytest.approx(keep * warmth, abs=0.05)] if keep else [])


def test_a_cool_light_is_corrected_in_full() -> None:
    """It is no warmth: nothing of it is kept."""
    cool = chart("a", camera.Fault(0.0, -30))
    decisions = [level_place(PLACE, {}, [], charts=[cool], keep_warmth=k)[0] for k in (0.0, 0.5)]

    assert decisions[0].white == decisions[1].white


def test_the_warmth_of_a_grey_card_is_kept_too() -> None:
    """Both absolute sources take the same road."""
    grey = GreySample("a", neutral(FAULT), spread=0.01)
    a = level_place(PLACE, {}, [], [grey], keep_warmth=0.5)[0]
    full = mired(np.array(neutral(FAULT, 1.0)))

    assert mired(levelled(a, neutral(FAULT, 1.0))) == pytest.approx(full / 2, abs=0.05)
