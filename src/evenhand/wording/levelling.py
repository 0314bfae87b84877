"""What levelling decided, in words: the reasons of a decision, and what became of a clip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from evenhand.grade.document import White
from evenhand.measure.decisions import Difference, LevelDecision, Proposal, Status
from evenhand.wording import figures
from evenhand.wording.anchors import ANCHORS
from evenhand.wording.figures import listed, size_of_mired, size_of_stops
from evenhand.wording.saying import Clause

_STATUSES: Final[Mapping[str, str]] = {
    "reference": "reference",
    "matched": "matched",
    "chart": "set by chart",
    "grey_card": "set by grey card",
    "unchanged": "unchanged",
}
# What may set exposure and white, as `jobs.explain` names it.
_SOURCES: Final[Mapping[str, str]] = {
    "hand": "a white by hand",
    "chart": "a 24-patch chart",
    "grey_card": "a grey card",
    "reference": "the reference clip as shot",
    "as_shot": "the clip as shot",
}
# What `jobs.changes` says has changed.
_CHANGED: Final[Mapping[str, str]] = {
    "status": "status",
    "place": "place",
    "exposure": "exposure",
    "white": "white was",
    "drift": "light inside the clip",
    "reference": "reference",
}


def status_words(status: Status) -> str:
    """What became of a clip, in a word or two."""
    return _STATUSES[status]


def source_words(source: str) -> str:
    """One thing that may set exposure and white."""
    return _SOURCES[source]


def correction(decision: LevelDecision) -> str:
    """What levelling does to a clip, in a few words."""
    parts = [figures.stops(decision.stops)] if decision.stops else []
    if decision.white is not None:
        parts.append(f"its white was {figures.white(decision.white)}")
    return "; ".join(parts) or "as shot"


def shortly(decision: LevelDecision, alone: bool) -> str:
    """Why, in a few words, for a line of a table. alone: no other clip is in its place."""
    if decision.status == "unchanged":
        return "shares no view"
    if decision.status in ANCHORS:
        return f"by a {ANCHORS[decision.status]}"
    if decision.status == "reference":
        return "alone in its place" if alone else "the others match it"
    even = not decision.stops and decision.white is None
    points = decision.match.inliers if decision.match is not None else 0
    told = "already even" if even else f"{points} points agree"
    return f"{told}, by {listed(decision.via)}" if decision.via else told


def proposal(found: Proposal) -> str:
    """The white that could be tried on a clip, with how far it may be off."""
    return (
        f"a white of {figures.white(found.white)}, typically right to "
        f"{size_of_mired(found.mired_error, 0)} and in one case of ten off by more than "
        f"{size_of_mired(found.mired_worst, 0)}"
    )


def changed(what: str, before: object, after: object) -> str:
    """One thing that becomes another, by its code and its values."""
    return f"{_CHANGED[what]} {_value(what, before)} → {_value(what, after)}"


def _value(what: str, value: object) -> str:
    if what == "status":
        return "not levelled" if value is None else _STATUSES[str(value)]
    if isinstance(value, bool):
        return "evened out" if value else "left as shot"
    if isinstance(value, float):
        return figures.stops(value)
    if isinstance(value, White):
        return figures.white(value)
    return str(value or ("as shot" if what == "white" else "none"))


def _sure(stops_error: float, mired_error: float, through: Sequence[str]) -> str:
    """Standard errors of a difference, and the clips that it comes through."""
    way = f", through {listed(through)}" if through else ""
    return f"(±{size_of_stops(stops_error, 3)}, ±{size_of_mired(mired_error)}{way})"


def _differs(clip: str, stops: float, mired: float, duv: float, **sure: Any) -> str:
    return f"{figures.apart(Difference(stops, mired, duv))} than {clip} {_sure(**sure)}"


def _already_even(clip: str, stops: float, mired: float, duv: float, **sure: Any) -> str:
    apart = figures.apart(Difference(stops, mired, duv))
    return f"already even with {clip}, nothing moved: {apart} {_sure(**sure)}"


def _loop(clips: Sequence[str], stops: float, mired: float) -> str:
    return (
        f"the round {' – '.join(clips)} closes to {size_of_stops(stops, 3)} and "
        f"{size_of_mired(mired)}"
    )


def _dropped(clips: Sequence[str]) -> str:
    return f"the match {' – '.join(clips)} was dropped: it contradicts the others"


def _tones(clip: str, stops: float, half_within: float, tenth_over: float) -> str:
    return (
        f"its tones lie {size_of_stops(stops, 1)} {'above' if stops > 0 else 'below'} those of "
        f"{clip}; as the two show different things, that is right to "
        f"{size_of_stops(half_within, 1)} in half of all cases and wrong by more than "
        f"{size_of_stops(tenth_over, 1)} in one of ten"
    )


def _colours_fit(clip: str, mired: float, shifted: float, as_shot: float, share: float) -> str:
    return (
        f"estimate: the colours fit those of {clip} best when moved {figures.mired(mired, 0)} "
        f"(correlation {shifted:.2f}, as shot {as_shot:.2f}); {figures.percent(share)} of that is "
        "proposed"
    )


def _greys_agree(mired: float, agreeing: int, frames: int, share: float) -> str:
    return (
        f"estimate: two statistics of its near-neutral pixels agree on {figures.mired(mired, 0)} "
        f"in {agreeing} of {frames} frames; {figures.percent(share)} of that is proposed; on good "
        "photographs half of such proposals do harm, so judge it by eye"
    )


def _no_exposure(half_within: float) -> str:
    return (
        "no exposure is proposed: from one clip alone it is known to "
        f"{size_of_stops(half_within, 1)} at best"
    )


CLAUSES: Final[Mapping[str, Clause]] = {
    "level.alone": lambda: "it is alone in its place; its own exposure and white stay as shot",
    "level.reference": lambda: (
        "the others are matched to it; its own exposure and white stay as shot"
    ),
    "level.differs": _differs,
    "level.already-even": _already_even,
    "level.exposure-even": lambda: "the exposure is already even and stays",
    "level.white-even": lambda: "the white is already even and stays",
    "level.no-common-view": lambda clip: f"no common view with {clip}",
    "level.loop": _loop,
    "level.match-dropped": _dropped,
    "proposal.tones": _tones,
    "proposal.no-exposure": _no_exposure,
    "proposal.colours-fit": _colours_fit,
    "proposal.greys-agree": _greys_agree,
    "change.other-reference": lambda: "another reference clip",
    "change.other-anchor": lambda by: f"another {ANCHORS[by]}",
    "change.anchor": lambda: "a chart or a grey card",
    "change.anchor-in-connected": lambda: "a chart or a grey card in a connected clip",
    "change.anchor-in-clip": lambda: "a chart or a grey card in this clip",
    "change.view-of-both": lambda: "a clip that shows both views",
    "change.by-hand": lambda: "setting it by hand",
    "trust.set": lambda: "set",
    "trust.none": lambda: "none",
    "trust.in-clips": lambda clips: f"in {listed(clips)}",
    "trust.no-chart": lambda: "none found",
    "trust.charts-not-wanted": lambda: "not looked for (--no-chart)",
    "trust.no-card": lambda: "none pointed at",
    "trust.clip": lambda clip: str(clip),
    "trust.no-view": lambda: "no view reaches it",
}
