"""How probable it is that a decision is right: that its error is under 0.1 stop and 5 mired.

What a measurement says of itself (standard errors, how the ratio changes with tone and with colour,
how far a chart's patches are off) becomes a scale of doubt for exposure and one for white; squares
add, along a chain of clips too. An error over its scale is taken to follow Student's t with four
degrees of freedom, whose tails are long (Lange, Little and Taylor 1989, doi:10.2307/2290063). The
weights were fitted by maximum likelihood on one half of made cases and checked on the other half
(`python -m bench.levelling.fit`; docs/levelling.md has the figures).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from evenhand.measure.decisions import ChartSample, Match

RIGHT_STOPS, RIGHT_MIRED = 0.1, 5.0
MOST_HUE = 100.0  # mired; the change with colour says nothing more beyond
# What is left of the probability because a view, or the light of a part of it, was taken for
# another one: of made cases that were sure by their errors, one in a hundred was wrong all the
# same, and one in ten where there were two lights.
SURE_VIEW, SURE_OF_TWO, SURE_SIGN = 0.99, 0.90, 0.995

# Of a match: least, and per standard error, stop per stop of tone, mired of hue.
MATCH_STOPS = {"floor": 0.003, "error": 0.63, "tone": 0.92, "hue": 0.0029}
MATCH_MIRED = {"floor": 0.25, "error": 0.33, "hue": 0.65}
# Of a chart: least, and per stop of its worst grey and of its patches' residual, mired of error.
CHART_STOPS = {"floor": 0.004, "grey": 0.33, "residual": 0.05}
CHART_MIRED = {"floor": 0.3, "error": 0.88}
# Of a grey card: least, and per stop of spread within the sample, which is noise for the most part.
# The floor of exposure is judgement: a card is 18 % to a few hundredths of a stop, and nobody holds
# it quite square to the light.
CARD_STOPS = {"floor": 0.03, "spread": 0.1}
CARD_MIRED = {"floor": 1.2, "spread": 7.0}


@dataclass(frozen=True, slots=True)
class Doubt:
    """Scales of the error of an exposure, in stops, and of a white, in mired.

    `sure` is the probability that what was measured is what it was taken for.
    """

    stops: float
    mired: float
    sure: float = 1.0

    def and_(self, other: Doubt) -> Doubt:
        """The doubt of two steps that are taken one after the other."""
        return Doubt(
            math.hypot(self.stops, other.stops),
            math.hypot(self.mired, other.mired),
            self.sure * other.sure,
        )

    @property
    def size(self) -> float:
        """One number to choose by: 1 at the limits of what is right."""
        return math.hypot(self.stops / RIGHT_STOPS, self.mired / RIGHT_MIRED)


NONE = Doubt(0.0, 0.0)


def of_match(found: Match) -> Doubt:
    """The doubt of an accepted match."""
    hue = min(found.hue, MOST_HUE)
    s, m = MATCH_STOPS, MATCH_MIRED
    stops = math.hypot(
        s["floor"], s["error"] * found.stops_error, s["tone"] * found.tone, s["hue"] * hue
    )
    mired = math.hypot(m["floor"], m["error"] * found.mired_error, m["hue"] * hue)
    return Doubt(stops, mired, SURE_VIEW if found.second is None else SURE_OF_TWO)


def of_chart(sample: ChartSample) -> Doubt:
    """The doubt of a chart's reading, as of the light at the chart."""
    s, m = CHART_STOPS, CHART_MIRED
    stops = math.hypot(s["floor"], s["grey"] * sample.worst_grey, s["residual"] * sample.residual)
    return Doubt(stops, math.hypot(m["floor"], m["error"] * sample.mired_error), SURE_SIGN)


def of_card(spread: float) -> Doubt:
    """The doubt of a grey card, as of the light at the card. spread: stops within the sample."""
    s, m = CARD_STOPS, CARD_MIRED
    stops = math.hypot(s["floor"], s["spread"] * spread)
    return Doubt(stops, math.hypot(m["floor"], m["spread"] * spread), SURE_SIGN)


def along(steps: Iterable[Doubt]) -> Doubt:
    """The doubt at the end of a chain of steps."""
    total = NONE
    for step in steps:
        total = total.and_(step)
    return total


def sureness(doubt: Doubt) -> float:
    """The probability 0..1 that the error is under 0.1 stop and 5 mired."""
    within = _within(RIGHT_STOPS / max(doubt.stops, 1e-9))
    return doubt.sure * within * _within(RIGHT_MIRED / max(doubt.mired, 1e-9))


def _within(limit: float) -> float:
    """The probability that Student's t with four degrees of freedom stays within ±limit."""
    s = limit / math.sqrt(limit * limit + 4.0)
    return s * (3.0 - s * s) / 2.0
