"""Why a clip is in its place, and why the place has its reference, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from evenhand.wording import figures
from evenhand.wording.figures import listed, percent, size_of_mired, size_of_stops
from evenhand.wording.saying import Clause

# What the better clip is ahead by, as `measure.reference` counts its points.
AHEAD: Final[Mapping[str, str]] = {
    "views": "sees more of the others",
    "exposure": "is better exposed",
    "clipped": "has less clipped",
    "noise": "has less in noise",
    "neutral": "is nearer to neutral",
    "chart": "holds a chart",
    "length": "is longer",
    "tone": "was not toned for a display",
    "middle": "lies nearer to the middle of the place",
}


def _beside(clip: str, pause: float | None, correlation: float) -> str:
    when = "beside" if pause is None else f"{pause / 60:.0f} min from"
    return (
        f"shares no view, but was made {when} {clip} under light of like colour "
        f"(correlation {correlation:.2f})"
    )


def _not_like(clip: str, pause: float | None, correlation: float) -> str:
    away = "" if pause is None else f"{pause / 60:.0f} min away, "
    return f"{clip}: {away}colour correlation {correlation:.2f}"


def _seen(clip: str, place: str) -> str:
    return f"{clip} in {place} sees the same, but that place was made by hand"


def _same_view(clips: Sequence[str]) -> str:
    return f"shares a view with {listed(clips)}"


def _picture(
    stops: float,
    clipped: float,
    crushed: float,
    chart: bool,
    off_neutral: float | None,
    seconds: float,
) -> str:
    parts = [
        f"its middle tone is {_middle(stops)}",
        f"{percent(clipped, 1)} of it clipped",
        f"{percent(crushed, 1)} in noise",
    ]
    if chart:
        parts.append("a chart in it")
    if off_neutral is not None:
        parts.append(f"its greys are {size_of_mired(off_neutral, 0)} from neutral as shot")
    return ", ".join([*parts, f"{figures.seconds(seconds)} long"])


def _middle(stops: float) -> str:
    if abs(stops) < 0.05:
        return "where a well exposed picture has it"
    way = "over" if stops > 0 else "under"
    return f"{size_of_stops(stops, 1)} {way} that of a well exposed picture"


CLAUSES: Final[Mapping[str, Clause]] = {
    "place.by-hand": lambda place: f"put into {place} by hand",
    "place.same-view": _same_view,
    "place.seen-by-hand-made": _seen,
    "place.other-light": lambda clip: f"sees what {clip} sees, but under another light",
    "place.beside": _beside,
    "place.no-view": lambda: "shares no view with any clip",
    "place.none-clear": lambda: "shares no view, and no place beside it is clearly its own",
    "place.not-like": _not_like,
    "place.like-both": lambda: (
        "shares no view, and its light is like that of both places beside it"
    ),
    "reference.by-hand": lambda: "chosen by hand",
    "reference.only-clip": lambda: "the only clip",
    "reference.views": lambda views, others: f"sees {views} of the {others} others",
    "reference.picture": _picture,
    "reference.equal": lambda clip: f"{clip} would do as well, and comes later",
    "reference.ahead": lambda clip, by: f"taken before {clip} because it {AHEAD[by]}",
}
