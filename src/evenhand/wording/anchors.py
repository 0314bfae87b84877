"""What a chart or a grey card says of a clip, and why one was refused, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from evenhand.grade.document import White
from evenhand.wording import figures
from evenhand.wording.figures import NBSP, size_of_mired, size_of_stops
from evenhand.wording.saying import Clause

ANCHORS: Final[Mapping[str, str]] = {"chart": "chart", "grey_card": "grey card"}


def _found(stops: float, kelvin: float, duv: float) -> str:
    return f"{figures.stops(stops)} and a white of {figures.white(White(kelvin, duv))}"


def _elsewhere(by: str, clip: str, **found: float) -> str:
    return f"by the {ANCHORS[by]} in {clip} it has {_found(**found)}"


def _own_card(neutral: bool, **found: float) -> str:
    end = " and neutral" if neutral else ""
    return f"its grey card shows {_found(**found)}; it is set to 18{NBSP}%{end}"


def _own_chart(seconds: float, **found: float) -> str:
    return (
        f"its chart, seen at {figures.seconds(seconds)}, shows {_found(**found)}; patches 20 to 23 "
        "are set to their published light, as it falls on the chart"
    )


def _chart_left(difference: float) -> str:
    return f"after that all 24 are off by CIEDE2000 {difference:.1f} on average"


def _compared(by: str, clip: str, stops: float, mired: float) -> str:
    return (
        f"the {ANCHORS[by]} in {clip} says the same to {size_of_stops(stops)} and "
        f"{size_of_mired(mired, 0)}"
    )


def _refused(clip: str, why: str) -> str:
    return f"the grey card in {clip} was not used: {why}"


def _uneven(clip: str, stops: float, limit: float) -> str:
    spread = f"the sample is uneven by {size_of_stops(stops)} (limit {limit:g})"
    return _refused(clip, f"{spread}, so it holds more than the card, or a shadow")


def _coloured(clip: str, duv: float, limit: float) -> str:
    return _refused(clip, f"the sample is coloured, {figures.duv(duv, 3)} (limit {limit:g})")


def _patches_agree(residual: float, worst_grey: float) -> str:
    return (
        f"24 patches agree with the published ones to {size_of_stops(residual)} in the middle, the "
        f"greys to {size_of_stops(worst_grey)}"
    )


def _patches_differ(residual: float, limit: float, worst_grey: float, grey_limit: float) -> str:
    return (
        f"no chart that can be read: patches differ by {size_of_stops(residual)} in the middle "
        f"(limit {limit:g}), the greys by up to {size_of_stops(worst_grey)} (limit {grey_limit:g})"
    )


CLAUSES: Final[Mapping[str, Clause]] = {
    "anchor.elsewhere": _elsewhere,
    "anchor.own-card": _own_card,
    "anchor.own-chart": _own_chart,
    "anchor.chart-left": _chart_left,
    "anchor.warmth-kept": lambda mired: f"{size_of_mired(mired, 0)} of the light's warmth are kept",
    "anchor.compared": _compared,
    "card.clipped": lambda clip: _refused(
        clip, "the sample is clipped, so its colour is not known"
    ),
    "card.no-light": lambda clip: _refused(clip, "the sample holds no light in one channel"),
    "card.uneven": _uneven,
    "card.coloured": _coloured,
    "card.far-from-grey": lambda clip, stops: _refused(
        clip, f"the sample is {figures.stops(stops)} from 18{NBSP}% grey"
    ),
    "chart.patches-agree": _patches_agree,
    "chart.patches-differ": _patches_differ,
    "chart.no-pattern": lambda correlation: (
        f"no chart: the pattern of its patches is not there (correlation {correlation:.2f})"
    ),
    "chart.other-colours": lambda correlation: (
        f"no chart: its colours are others (correlation {correlation:.2f})"
    ),
    "chart.greys-clipped": lambda: "the greys of the chart are clipped",
}
