"""Exposure and white for the clips of a place, decided from measurements, each with its reason.

Clips that a chain of matches connects to the reference are corrected to look like it; a difference
within its own uncertainty stays, and so does every clip without a common view. A chart or a grey
card in any connected clip sets the exposure and the white of them all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.absolute import (
    Anchor,
    anchor_told,
    anchors,
    disagreement,
    grey_refusal,
    referred,
)
from evenhand.measure.agreement import Agreement, Edge, Loop, agree
from evenhand.measure.chains import doubt_of_clip, of_anchor
from evenhand.measure.clipview import ClipView, summary_of
from evenhand.measure.confidence import Doubt, sureness
from evenhand.measure.decisions import (
    ChartSample,
    Difference,
    GreySample,
    LevelDecision,
    Link,
    Match,
    Place,
    Proposal,
    Status,
)
from evenhand.measure.proposals import propose
from evenhand.reasons import Reason, Why, because

__all__ = ["GreySample", "LevelDecision", "grey_refusal", "level_place"]

Floats = NDArray[np.float64]

# Below these nobody sees a difference, and nothing is moved.
EVEN_STOPS, EVEN_MIRED = 0.02, 1.0
SURE = 2.0  # standard errors; a difference within them may be none


@dataclass(frozen=True, slots=True)
class _Solved:
    """A place's matches solved, and what a chart or a grey card adds."""

    place: Place
    links: Sequence[Link]
    found: Agreement
    anchor: Anchor | None
    beside: Why
    refusals: Why


def level_place(
    place: Place,
    clips: Mapping[str, ClipView],
    links: Sequence[Link],
    greys: Sequence[GreySample] = (),
    charts: Sequence[ChartSample] = (),
    keep_warmth: float = 0.0,
) -> tuple[LevelDecision, ...]:
    """Decides exposure and white for every clip of a place, in its order.

    clips: at least the clips of the place, by id; they serve the proposals. links: from
    `places.find_links`. charts: found in clips; greys: grey cards that a person pointed at. The
    best chart in connected clips sets them all, else the best grey card; one in a clip that nothing
    connects sets that clip alone. keep_warmth: the share 0..1 of the light's warmth that stays.
    """
    ids = set(place.clips)
    inside = [x for x in links if x.match.accepted and x.a in ids and x.b in ids]
    found = agree(place.reference, [Edge.of(x) for x in inside])
    usable = anchors([c for c in charts if c.clip in ids], [g for g in greys if g.clip in ids])
    solved = _solved(place, links, found, usable, keep_warmth)
    refused = {g.clip: why for g in greys if g.clip in ids and (why := grey_refusal(g))}
    solved = replace(solved, refusals=tuple(refused.values()))
    own = {a.clip: a for a in reversed(usable)}
    decided = []
    for clip in place.clips:
        if clip in found.gains:
            decided.append(_connected(clip, solved, clips))
        elif clip in own:
            decided.append(_by_itself(referred(own[clip], np.zeros(3), keep_warmth), place))
        else:
            mine = (refused[clip],) if clip in refused else ()
            decided.append(_unchanged(clip, solved, clips, mine))
    return tuple(decided)


def _solved(
    place: Place,
    links: Sequence[Link],
    found: Agreement,
    usable: Sequence[Anchor],
    keep_warmth: float,
) -> _Solved:
    connected = [a for a in usable if a.clip in found.gains]
    if not connected:
        return _Solved(place, links, found, None, (), ())
    best = connected[0]
    anchor = referred(best, found.gains[best.clip], keep_warmth)
    return _Solved(
        place, links, found, anchor, disagreement(anchor, connected[1:], found.gains), ()
    )


def _connected(clip: str, solved: _Solved, clips: Mapping[str, ClipView]) -> LevelDecision:
    """The reference, or a clip that matches connect to it."""
    found, reference = solved.found, solved.place.reference
    gains = found.gains[clip]
    errors = found.errors[clip]
    moved, even = _worth_moving(gains, errors)
    anchor = solved.anchor
    fault = moved + (anchor.gains if anchor else np.zeros(3))
    told: list[Reason] = [] if clip == reference else [*_told(clip, solved, even)]
    if anchor:
        told += anchor_told(clip, anchor, fault)
        told += solved.beside if clip == anchor.clip else ()
    elif clip == reference:
        alone = len(solved.place.clips) == 1
        told += [because("level.alone" if alone else "level.reference"), *solved.refusals]
    closure, loop_told = _closure(clip, found.loops)
    told += loop_told
    dropped = [e for e in found.dropped if clip in (e.a, e.b)]
    told += [because("level.match-dropped", clips=[e.a, e.b]) for e in dropped]
    match = _last_match(clip, solved)
    return LevelDecision(
        clip=clip,
        place=solved.place.name,
        reference=reference,
        status=_status(clip, solved),
        stops=_rounded(-ratios.stops_of(fault)),
        white=None if _same_white(fault) else ratios.white_of(fault),
        confidence=_sure_of(clip, solved, gains - moved),
        difference=None if clip == reference else ratios.difference_of(gains),
        stops_error=errors[0],
        mired_error=errors[1],
        match=match,
        via=found.paths[clip][1:-1],
        closure=closure,
        why=tuple(told),
        proposal=_reference_proposal(clip, solved, clips),
        chart=anchor.chart if anchor and anchor.clip == clip else None,
        would_change=_would_change(clip, solved),
    )


def _rounded(stops: float) -> float:
    return 0.0 if abs(stops) < 1e-9 else stops


def _status(clip: str, solved: _Solved) -> Status:
    if solved.anchor and clip == solved.anchor.clip:
        return solved.anchor.by
    return "reference" if clip == solved.place.reference else "matched"


def _reference_proposal(
    clip: str, solved: _Solved, clips: Mapping[str, ClipView]
) -> Proposal | None:
    """A white for a reference that nothing absolute is known of; it is never applied."""
    if solved.anchor or clip != solved.place.reference or clip not in clips:
        return None
    return summary_of(clips[clip]).white


def _worth_moving(gains: Floats, errors: tuple[float, float]) -> tuple[Floats, tuple[bool, bool]]:
    """The gains with what is within its own uncertainty, or too small to be seen, taken out."""
    difference = ratios.difference_of(gains)
    limit = max(SURE * errors[1], EVEN_MIRED)
    even_stops = abs(difference.stops) <= max(SURE * errors[0], EVEN_STOPS)
    even_white = (
        abs(difference.mired) <= limit and abs(difference.duv) <= limit * ratios.UV_PER_MIRED
    )
    white = np.zeros(3) if even_white else gains - ratios.stops_of(gains)
    stops = 0.0 if even_stops else difference.stops
    return white + stops, (even_stops, even_white)


def _same_white(gains: Floats) -> bool:
    return bool(np.ptp(gains) < 1e-9)


def _sure_of(clip: str, solved: _Solved, stays: Floats) -> float:
    """The confidence in a connected clip's correction. stays: gains measured and not corrected."""
    if solved.anchor is None and clip == solved.place.reference:
        return 1.0
    doubt = doubt_of_clip(clip, solved.found, solved.links, solved.anchor)
    left = ratios.difference_of(stays)
    return sureness(doubt.and_(Doubt(abs(left.stops), abs(left.mired))))


def _last_match(clip: str, solved: _Solved) -> Match | None:
    """The match of the last step of the chain that leads from the reference to the clip."""
    path = solved.found.paths[clip]
    if len(path) < 2:
        return None
    for link in solved.links:
        if {link.a, link.b} == set(path[-2:]):
            return link.match
    return None


def _told(clip: str, solved: _Solved, even: tuple[bool, bool]) -> Why:
    """The measured difference with its uncertainty, where it comes from, and what stays."""
    found = solved.found
    difference = ratios.difference_of(found.gains[clip])
    errors = found.errors[clip]
    through = found.paths[clip][1:-1]
    measured = because(
        "level.already-even" if all(even) else "level.differs",
        clip=solved.place.reference,
        stops=difference.stops,
        mired=difference.mired,
        duv=difference.duv,
        stops_error=errors[0],
        mired_error=errors[1],
        through=list(through),
    )
    match = _last_match(clip, solved)
    stays: Why = ()
    if any(even) and not all(even):
        stays = (because("level.exposure-even" if even[0] else "level.white-even"),)
    return (measured, *(match.why if match else ()), *stays)


def _closure(clip: str, loops: Sequence[Loop]) -> tuple[Difference | None, Why]:
    mine = [x for x in loops if clip in x.clips]
    if not mine:
        return None, ()
    worst = max(mine, key=lambda x: abs(x.closure.stops) / 0.1 + abs(x.closure.mired) / 6)
    stops, mired = abs(worst.closure.stops), abs(worst.closure.mired)
    told = because("level.loop", clips=list(worst.clips), stops=stops, mired=mired)
    return worst.closure, (told,)


def _would_change(clip: str, solved: _Solved) -> Why:
    other = because("change.other-reference")
    if solved.anchor:
        return (because("change.other-anchor", by=solved.anchor.by), other)
    if clip == solved.place.reference:
        return (because("change.anchor-in-connected"), other)
    return (other, because("change.anchor"))


def _by_itself(anchor: Anchor, place: Place) -> LevelDecision:
    """A clip that nothing connects, by its own chart or grey card."""
    fault = anchor.gains
    lonely: Why = ()
    if len(place.clips) > 1:
        lonely = (because("level.no-common-view", clip=place.reference),)
    return LevelDecision(
        clip=anchor.clip,
        place=place.name,
        reference=place.reference,
        status=anchor.by,
        stops=-ratios.stops_of(fault),
        white=ratios.white_of(fault),
        confidence=sureness(of_anchor(anchor)),
        stops_error=anchor.stops_error,
        mired_error=anchor.mired_error,
        why=(*lonely, *anchor_told(anchor.clip, anchor, fault)),
        chart=anchor.chart,
        would_change=(because("change.other-anchor", by=anchor.by),),
    )


def _unchanged(
    clip: str, solved: _Solved, clips: Mapping[str, ClipView], refused: Why
) -> LevelDecision:
    """A clip that nothing connects and nothing sets; `refused` is its own grey card."""
    place = solved.place
    proposal = None
    if clip in clips and place.reference in clips:
        shift = solved.anchor.gains if solved.anchor else np.zeros(3)
        proposal = propose(clips[place.reference], clips[clip], shift)
    tried = [x.match for x in solved.links if {x.a, x.b} == {clip, place.reference}]
    view = because("level.no-common-view", clip=place.reference)
    return LevelDecision(
        clip=clip,
        place=place.name,
        reference=place.reference,
        status="unchanged",
        match=tried[0] if tried else None,
        why=(view, *(tried[0].why if tried else ()), *refused),
        proposal=proposal,
        would_change=(
            because("change.anchor-in-clip"),
            because("change.view-of-both"),
            because("change.by-hand"),
        ),
    )
