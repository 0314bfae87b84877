"""The made pictures of a sheet hold the colours that they say."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.colourmath.difference import lab
from evenhand.measure.looks import cards
from evenhand.measure.looks.probes import SKINS


def test_the_charts_are_display_signal_of_one_size() -> None:
    """So that they stand beside each other, and nothing may write into them."""
    for card in (cards.ramps(), cards.skins(), cards.chart()):
        assert card.shape == (cards.HEIGHT, cards.WIDTH, 3)
        assert card.min() >= 0.0
        assert card.max() <= 1.0
        assert not card.flags.writeable


def test_ramps_rise_and_sweep() -> None:
    """Greys from black to white, then hues that go once around and meet."""
    card = cards.ramps()
    grey = card[0]

    assert (np.diff(grey[:, 0]) > 0).all()
    assert (grey[0] == 0).all()
    assert (grey[-1] == 1).all()
    sweep = lab(card[3 * cards.HEIGHT // 6])
    turn = np.unwrap(np.arctan2(sweep[:, 2], sweep[:, 1]))
    assert np.degrees(turn[-1] - turn[0]) == pytest.approx(360, abs=1)
    assert (np.diff(turn) > -1e-3).all()


def test_skins_are_the_measured_ones() -> None:
    """The uppermost row is lit in full, in the order of the probes."""
    card = cards.skins()
    wide = cards.WIDTH / len(SKINS)
    lit = np.array([card[4, int((k + 0.5) * wide)] for k in range(len(SKINS))])

    assert lit**2.4 == pytest.approx(np.array([light for _, light in SKINS]), abs=1e-9)
    assert (card[-4] <= card[4] + 1e-12).all()


@pytest.mark.oracle
def test_the_chart_has_its_published_lightness() -> None:
    """White and black of the chart after November 2014: L* 95.19 and 20.64 (D50; same greys)."""
    card = cards.chart()
    spot = [card[int(card.shape[0] * 0.87), int(card.shape[1] * x)] for x in (0.08, 0.92)]
    white, black = lab(np.array(spot))[:, 0]

    assert white == pytest.approx(95.19, abs=0.3)
    assert black == pytest.approx(20.64, abs=0.5)
