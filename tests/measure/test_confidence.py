"""Confidence is the probability of being right to 0.1 stop and 5 mired, and it keeps its word."""

from __future__ import annotations

import made_cases
import made_charts
import msgspec
import numpy as np
import pytest
import simulated_camera as camera
from scipy import stats

from evenhand.measure import ratios
from evenhand.measure.absolute import GREY_SPREAD
from evenhand.measure.chart import find_chart
from evenhand.measure.confidence import (
    NONE,
    Doubt,
    along,
    of_card,
    of_chart,
    of_match,
    sureness,
)
from evenhand.measure.decisions import ChartSample, GreySample, Link, Match, Place
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import confidence, match

GOOD = Match(True, (), stops=0.4, gains=(0.4, 0.4, 0.4), stops_error=0.004, mired_error=0.4)
Said = list[tuple[float, bool]]


@pytest.mark.oracle
@pytest.mark.parametrize("scale", [0.005, 0.05, 0.1, 0.4])
def test_the_probability_is_students_t_with_four_degrees(scale: float) -> None:
    """SciPy's distribution says the same of both limits."""
    expected = [2 * stats.t.cdf(limit / scale, 4) - 1 for limit in (0.1, 5.0)]

    assert sureness(Doubt(scale, 1e-9)) == pytest.approx(expected[0], abs=1e-9)
    assert sureness(Doubt(1e-9, scale)) == pytest.approx(expected[1], abs=1e-9)


def test_doubts_add_in_squares_along_a_chain() -> None:
    """Three steps of 0.03 and 0.04 stop; what may be another view multiplies."""
    total = along([Doubt(0.03, 1.0, 0.9), Doubt(0.04, 2.0, 0.5), NONE])

    assert total.stops == pytest.approx(0.05)
    assert total.mired == pytest.approx(5**0.5)
    assert total.sure == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("field", "value"),
    [("stops_error", 0.1), ("mired_error", 20.0), ("tone", 0.2), ("hue", 12.0)],
)
def test_each_bad_sign_lowers_the_confidence(field: str, value: float) -> None:
    """Errors, a ratio that changes with tone or colour, and two lights."""
    worse = msgspec.structs.replace(GOOD, **{field: value})

    assert confidence(GOOD) > 0.95
    assert confidence(worse) < confidence(GOOD) - 0.05


def test_a_clip_far_along_the_chain_is_less_sure() -> None:
    """a – b – c by matches of doubt; what both rest on a chart rests on its doubt too."""
    weak = msgspec.structs.replace(GOOD, stops_error=0.06, mired_error=4.0)
    links = [Link("a", "b", weak), Link("b", "c", weak)]
    place = Place("row", ("a", "b", "c"), "a", (), ())
    a, b, c = level_place(place, {}, links)

    assert a.confidence == 1.0
    assert confidence(weak) == pytest.approx(b.confidence, abs=1e-9)
    assert c.via == ("b",)
    assert c.confidence < b.confidence - 0.05

    card = GreySample("c", (0.18, 0.18, 0.18), spread=0.14)
    a, b, c = level_place(place, {}, links, [card])
    assert c.confidence == pytest.approx(sureness(of_card(0.14)))
    assert a.confidence < b.confidence < c.confidence


def test_an_open_round_lowers_the_confidence_of_its_clips() -> None:
    """Three clips whose matches close to 0.09 stop: each may be off by half of it."""

    def linked(a: str, b: str, stops: float) -> Link:
        return Link(a, b, msgspec.structs.replace(GOOD, stops=stops, gains=(stops,) * 3))

    place = Place("round", ("a", "b", "c"), "a", (), ())
    closed = [linked("a", "b", 0.4), linked("b", "c", 0.2), linked("a", "c", 0.6)]
    opened = [*closed[:2], linked("a", "c", 0.69)]
    sure, unsure = (level_place(place, {}, links)[2].confidence for links in (closed, opened))

    assert unsure < sure - 0.05


def test_what_is_left_alone_as_even_counts_as_an_error() -> None:
    """0.09 stop within two large standard errors stays, and may well be wrong by itself."""
    weak = msgspec.structs.replace(
        GOOD, stops=0.09, gains=(0.09,) * 3, stops_error=0.05, mired_error=0.5
    )
    place = Place("pair", ("a", "b"), "a", (), ())
    b = level_place(place, {}, [Link("a", "b", weak)])[1]

    assert b.stops == 0.0
    assert b.confidence < confidence(weak) - 0.1


def kept_its_word(said: Said) -> None:
    """Of what was said to be 90 % sure 90 % is right, and all in all as much as was promised.

    The lower end of the exact 95 % interval (Clopper and Pearson 1934) has to be above 90 %, so
    that it is not by luck; the sum over all has to lie within three standard deviations.
    """
    sure, right = np.array(said, float).T
    high = sure >= 0.9
    wins = int(right[high].sum())
    interval = stats.binomtest(wins, int(high.sum())).proportion_ci(0.95, "exact")
    assert interval.low >= 0.9, f"{wins} of {high.sum()}"
    spread = 3 * np.sqrt((sure * (1 - sure)).sum())
    assert abs(right.sum() - sure.sum()) <= spread + 0.01 * len(said)
    assert np.median(sure[right > 0]) >= 0.8
    # It tells: those that were wrong were doubted.
    assert sure[right > 0].mean() - sure[right == 0].mean() >= 0.2


@pytest.mark.slow
def test_matches_are_as_often_right_as_they_say() -> None:
    """Made cases with up to two troubles each, none of which the constants were fitted on."""
    pictures = [camera.scene(s) for s in range(40, 46)]
    pictures += [np.asarray(p) for p in camera.photographs().values() if len(p) > 500]
    rng = np.random.default_rng(71)
    said: Said = []
    for _ in range(140):
        case = made_cases.make_case(pictures, rng, most_troubles=2)
        found = match(made_cases.seen(case.a), made_cases.seen(case.b))
        if found.accepted:
            left = made_cases.left_over(found, case.a, case.b)
            said.append((confidence(found), made_cases.is_right(left)))

    assert len(said) >= 100
    kept_its_word(said)


@pytest.mark.slow
def test_charts_are_as_often_right_as_they_say() -> None:
    """Charts with up to two troubles: noise, haze, filters, uneven light, a developed picture."""
    rng = np.random.default_rng(72)
    pictures = [camera.scene(s) for s in range(50, 54)]
    said: Said = []
    for _ in range(100):
        case = made_charts.make_chart_case(pictures, rng)
        sample = chart_of(case)
        if sample is not None:
            missed = made_charts.missed(np.array(sample.gains), case.grey)
            said.append((sureness(of_chart(sample)), made_cases.is_right(missed)))

    assert len(said) >= 70
    kept_its_word(said)


@pytest.mark.slow
def test_cards_are_as_often_right_as_they_say() -> None:
    """Cards in uneven light that are not refused; how a card is held is judgement, not tried."""
    rng = np.random.default_rng(73)
    pictures = [camera.scene(s) for s in range(50, 54)]
    cases = [made_charts.make_card_case(pictures, rng) for _ in range(90)]
    cases = [c for c in cases if c.spread <= GREY_SPREAD]
    off = [made_charts.missed(ratios.gains_of(c.light / 0.18), c.grey) for c in cases]
    right = np.array([made_cases.is_right(o) for o in off])
    sure = np.array([sureness(of_card(c.spread)) for c in cases])

    assert right.mean() >= sure.mean() - 0.05
    assert np.median(sure) >= 0.8


def chart_of(case: made_charts.ChartCase) -> ChartSample | None:
    """What levelling is told of a chart in a frame."""
    to_light = camera.CURVES[case.curve][1]
    reading = find_chart(
        case.recording.signal,
        lambda s: to_light(s.astype(np.float64)),
        case.recording.clip_level,
    )
    if reading is None or not reading.accepted:
        return None
    red, green, blue = (float(g) for g in reading.gains)
    return ChartSample(
        clip="a", time=0.0, corners=(), gains=(red, green, blue), patch_difference=0.0, why=(),
        stops_error=reading.stops_error, mired_error=reading.mired_error,
        residual=reading.residual, worst_grey=reading.worst_grey,
    )  # fmt: skip


def test_two_lights_lower_the_confidence() -> None:
    """One in ten of such matches is wrong though it looks sure."""
    second = made_cases.second_light_found(GOOD)

    assert of_match(second).sure < of_match(GOOD).sure
    assert confidence(second) < 0.91
