"""The doubt of a clip's levelling: of each match, chart and card that its correction comes from."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from evenhand.measure.absolute import Anchor
from evenhand.measure.agreement import Agreement, Loop
from evenhand.measure.confidence import NONE, Doubt, along, of_card, of_chart, of_match
from evenhand.measure.decisions import Link

CLOSURE = 0.5  # of what a loop of matches does not close by, each of its clips is in doubt


def doubt_of_clip(
    clip: str, found: Agreement, links: Sequence[Link], anchor: Anchor | None
) -> Doubt:
    """The doubt of a connected clip's correction.

    Squares add along the surest chain of matches from what the clip is levelled to: the reference,
    or the clip with the chart or the card. That several chains agree is not counted in its favour,
    for a clip that was toned for a display errs the same way in all its matches; that they do not
    agree counts against it.
    """
    path = list(found.paths[clip])
    told = NONE
    if anchor is not None:
        path = _between(path, list(found.paths[anchor.clip]))
        told = of_anchor(anchor)
    if len(path) < 2:
        return told
    steps = along(_doubt_of_step(pair, links) for pair in pairwise(path))
    return told.and_(steps).and_(_of_loops(clip, found.loops))


def of_anchor(anchor: Anchor) -> Doubt:
    """The doubt of a chart or a card, in the light where it lies."""
    return of_card(anchor.spread) if anchor.chart is None else of_chart(anchor.chart)


def _between(path: list[str], other: list[str]) -> list[str]:
    """From the end of one chain to the end of another that begins at the same clip."""
    while len(path) > 1 and len(other) > 1 and path[1] == other[1]:
        path, other = path[1:], other[1:]
    return [*reversed(path), *other[1:]]


def _doubt_of_step(pair: tuple[str, str], links: Sequence[Link]) -> Doubt:
    found = [x.match for x in links if x.match.accepted and {x.a, x.b} == set(pair)]
    return of_match(found[0]) if found else NONE


def _of_loops(clip: str, loops: Sequence[Loop]) -> Doubt:
    mine = [x.closure for x in loops if clip in x.clips]
    return Doubt(
        CLOSURE * max((abs(c.stops) for c in mine), default=0.0),
        CLOSURE * max((abs(c.mired) for c in mine), default=0.0),
    )
