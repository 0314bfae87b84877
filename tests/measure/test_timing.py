"""Conforming frame times to a rate, and finding a clip's own rate."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.measure.timing import STANDARD_RATES, conform, nominal_rate, usual_rate

NTSC = Fraction(30000, 1001)
rates = st.sampled_from(STANDARD_RATES)
gaps = st.lists(st.integers(1, 20000), min_size=1, max_size=60)


def exact_times(rate: Fraction, count: int, base: Fraction) -> list[int]:
    return [round(n / rate / base) for n in range(count)]


@given(gaps, rates)
def test_each_output_frame_shows_the_nearest_source(steps: list[int], rate: Fraction) -> None:
    """No other source frame was shot closer to when an output frame is shown."""
    times = np.cumsum([17, *steps]).tolist()
    base = Fraction(1, 90000)

    plan = conform(times, rate, base)

    for slot, chosen in enumerate(plan.index):
        shown = times[0] * base + slot / rate
        best = min(abs(t * base - shown) for t in times)
        assert abs(times[chosen] * base - shown) == best
        assert float(best) <= plan.worst_error + 1e-12


@given(gaps, rates)
def test_counts_add_up(steps: list[int], rate: Fraction) -> None:
    """Output frames = source frames - dropped + repeated, in order, and as long as the clip."""
    times = np.cumsum([0, *steps]).tolist()

    plan = conform(times, rate, Fraction(1, 90000), last=3000)

    assert len(plan.index) == len(times) - plan.dropped + plan.repeated
    assert (np.diff(plan.index) >= 0).all()
    assert plan.uses(len(times)).sum() == len(plan.index)
    length = Fraction(times[-1] + 3000, 90000)
    assert len(plan.index) == 1 or abs(len(plan.index) / rate - length) <= 1 / rate / 2


@given(rates, st.integers(1, 400), st.sampled_from([600, 1000, 24000, 30000, 90000]))
def test_same_rate_is_untouched(rate: Fraction, count: int, ticks: int) -> None:
    """Ticks that round do not repeat or drop a frame of a clip already at the rate."""
    times = exact_times(rate, count, Fraction(1, ticks))

    plan = conform(times, rate, Fraction(1, ticks))

    assert plan.untouched
    assert plan.index.tolist() == list(range(count))


@given(st.integers(0, 2**32 - 1))
def test_jitter_is_untouched(seed: int) -> None:
    """A clock that wobbles by a tenth of a frame keeps every frame once."""
    wobble = np.random.default_rng(seed).uniform(-0.1, 0.1, 200) * 3600
    times = np.rint(np.arange(200) * 3600 + wobble).astype(int)

    assert conform(times.tolist(), Fraction(25), Fraction(1, 90000)).untouched


def test_hours_do_not_drift() -> None:
    """Two hours of 30000/1001: the last frame is as exact as the first."""
    count = 2 * 3600 * 30
    times = [n * 1001 for n in range(count)]

    plan = conform(times, NTSC, Fraction(1, 30000))

    assert plan.untouched
    assert plan.worst_error == 0.0


def test_products_beyond_64_bits() -> None:
    """Awkward time bases are exact as well."""
    base = Fraction(1, 10**12 + 39)
    times = [round(Fraction(n, 25) / base) for n in range(2000)]

    plan = conform(times, Fraction(24000, 1001), base)

    slots = [n * Fraction(1001, 24000) for n in range(len(plan.index))]
    assert plan.index[-1] == round(slots[-1] * 25)
    assert plan.worst_error <= 0.02


def test_known_conversions() -> None:
    """29.97 to 25 drops a sixth; 25 to 50 shows each twice; 50 to 25 takes every second."""
    down = conform([n * 1001 for n in range(300)], Fraction(25), Fraction(1, 30000))
    assert (len(down.index), down.repeated, down.dropped) == (250, 0, 50)
    assert down.worst_error == pytest.approx(1001 / 30000 / 2, abs=2e-5)

    double = conform(list(range(100)), Fraction(50), Fraction(1, 25))
    assert double.uses(100).tolist() == [2] * 100

    half = conform(list(range(100)), Fraction(25), Fraction(1, 50))
    assert half.index.tolist() == list(range(0, 100, 2))


def test_halfway_shows_the_earlier() -> None:
    """A tie is always broken the same way: towards the earlier frame."""
    assert conform([0, 2], Fraction(1), Fraction(1), last=1).index.tolist() == [0, 0, 1]


def test_a_long_gap_is_filled_and_measured() -> None:
    """A second without frames is filled from both sides, and the error says so."""
    plan = conform([0.0, 0.04, 1.0, 1.04], Fraction(25))

    assert plan.index.tolist() == [0, *[1] * 13, *[2] * 12, 3]
    assert plan.worst_error == pytest.approx(0.48)


def test_one_frame() -> None:
    """One frame gives one frame, or as many as it lasts."""
    assert conform([7], Fraction(25), Fraction(1, 25)).index.tolist() == [0]
    assert conform([7], Fraction(25), Fraction(1, 25), last=3).index.tolist() == [0, 0, 0]


def test_falling_times_are_refused() -> None:
    """Times that do not rise are a fault of the caller."""
    with pytest.raises(ValueError, match="rise"):
        conform([0, 2, 2], Fraction(25), Fraction(1, 25))


@given(rates, st.integers(30, 300), st.sampled_from([600, 24000, 30000, 90000]))
def test_standard_rates_are_recognised(rate: Fraction, count: int, ticks: int) -> None:
    """The rate found lies on the clip's own times; with fine ticks it is the very rate."""
    times = exact_times(rate, count, Fraction(1, ticks))

    found, constant = nominal_rate(times, Fraction(1, ticks))

    assert constant
    if ticks == 90000:
        assert found == rate


def test_rate_of_its_own() -> None:
    """A constant rate that no standard knows is kept exactly."""
    assert nominal_rate(list(range(0, 700, 7)), Fraction(1, 90)) == (Fraction(90, 7), True)


def test_variable_rate() -> None:
    """A missing frame makes the rate variable and the mean exact; the usual gap stays known."""
    times = [n * 3000 for n in range(40) if n != 20]

    assert nominal_rate(times, Fraction(1, 90000)) == (Fraction(38 * 30, 39), False)
    assert usual_rate(times, Fraction(1, 90000)) == 30


def test_too_short_for_a_rate() -> None:
    """One frame has no rate; 25 stands for it."""
    assert nominal_rate([5], Fraction(1, 600)) == (Fraction(25), True)
    assert usual_rate([5], Fraction(1, 600)) == 25
