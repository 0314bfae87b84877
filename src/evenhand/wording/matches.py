"""What the comparison of two clips gave, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from evenhand.wording.figures import darker, percent, signed, size_of_stops, warmer
from evenhand.wording.saying import Clause


def _points_agree(points: int, coverage: float, support: float, spread: float) -> str:
    return (
        f"{points} points agree on a common view of {percent(coverage)} of the picture, "
        f"{percent(support)} of it with one ratio to within {size_of_stops(spread)}"
    )


def _toned(tone: float) -> str:
    return (
        f"contrast differs by {signed(100 * tone, 0)} % (one clip is toned for a display), so the "
        "two meet in the middle tones and part in shadows and highlights"
    )


def _two_lights(share: float, stops: float, mired: float) -> str:
    return (
        f"two lights in one picture: {percent(share)} of the common view became {darker(stops)} "
        f"and {warmer(mired)} against the rest, so only one of them can be matched, and it is the "
        "larger one"
    )


def _several_ratios(support: float, limit: float) -> str:
    return f"only {percent(support)} of the common view has one ratio (limit {percent(limit)})"


def _uneven(spread: float) -> str:
    return (
        f"the light differs by {size_of_stops(spread)} from one part of the common view to others"
    )


def _small_view(coverage: float) -> str:
    return f"the common view is only {percent(coverage, 1)} of the picture"


def _few_points(points: int, share: float, likeness: float) -> str:
    return (
        f"only {points} points agree on one view ({percent(share)} of those that look alike), and "
        f"its detail agrees only to {percent(likeness)}"
    )


CLAUSES: Final[Mapping[str, Clause]] = {
    "match.points-agree": _points_agree,
    "match.toned": _toned,
    "match.two-lights": _two_lights,
    "match.several-ratios": _several_ratios,
    "match.uneven": _uneven,
    "match.small-view": _small_view,
    "match.few-points": _few_points,
    "match.too-few-points": lambda: "too few points of the two pictures agree on one view",
    "match.too-little-light": lambda: (
        "the common view is too small, too dark or too bright to measure"
    ),
    "match.no-frame": lambda: "a clip has no frame that could be read",
}
