"""Which clip of a place the others should follow: by what was measured, with the reason.

Points are given for what a colourist would look for; the weights are judgement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import transfer_of
from evenhand.measure import ratios
from evenhand.measure.agreement import Edge, agree
from evenhand.measure.clipview import ClipView
from evenhand.measure.decisions import Link
from evenhand.reasons import Reason, Why, because

BY_HAND: Final[Why] = (because("reference.by-hand"),)
WELL_EXPOSED = 0.10  # light in the middle of a well exposed picture


def choose_reference(
    clips: Sequence[ClipView], links: Sequence[Link], chosen: Sequence[str] = ()
) -> tuple[str, Why]:
    """The reference clip of a place, and why. chosen: by a person, the latest word first."""
    ids = {c.id for c in clips}
    by_hand = [i for i in chosen if i in ids]
    if by_hand:
        return by_hand[0], BY_HAND
    if len(clips) == 1:
        return clips[0].id, (because("reference.only-clip"),)
    seen = [x for x in links if x.match.accepted and x.a in ids and x.b in ids]
    off = _from_the_middle(clips, seen)
    points = {c.id: _points(c, clips, seen, off.get(c.id)) for c in clips}
    order = sorted(clips, key=lambda c: (-sum(points[c.id].values()), c.order))
    best, second = order[0], order[1]
    views = sum(best.id in (x.a, x.b) for x in seen)
    seen_by = because("reference.views", views=views, others=len(clips) - 1)
    before = _before(points[best.id], points[second.id], second.id)
    return best.id, (seen_by, _picture(best), before)


def _picture(clip: ClipView) -> Reason:
    """What was measured of a clip as a reference; `stops` is its middle tone over a good one's."""
    n = clip.numbers
    return because(
        "reference.picture",
        stops=_off_exposure(n.middle),
        clipped=float(n.clipped),
        crushed=float(n.crushed),
        chart=n.chart,
        off_neutral=n.off_neutral,
        seconds=float(n.seconds),
    )


def _off_exposure(middle: float) -> float:
    return float(np.log2(max(middle, 1e-4) / WELL_EXPOSED))


def _before(best: Mapping[str, float], second: Mapping[str, float], name: str) -> Reason:
    """Why the best one was taken before the next best, `by` what they differ in most."""
    ahead = {what: best[what] - second[what] for what in best}
    what = max(ahead, key=lambda w: ahead[w])
    if ahead[what] < 0.01:
        return because("reference.equal", clip=name)
    return because("reference.ahead", clip=name, by=what)


def _points(
    clip: ClipView, clips: Sequence[ClipView], seen: Sequence[Link], off: float | None
) -> dict[str, float]:
    """How well a clip would serve as reference, by what."""
    n = clip.numbers
    length = float(np.median([c.numbers.seconds for c in clips]))
    return {
        "views": 3 * sum(clip.id in (x.a, x.b) for x in seen) / (len(clips) - 1),
        "exposure": -0.3 * min(abs(_off_exposure(n.middle)), 3.0),
        "clipped": -min(n.clipped / 0.02, 1.0),
        "noise": -min(n.crushed / 0.2, 1.0),
        "neutral": -0.3 * min(n.off_neutral / 60, 1.0) if n.off_neutral is not None else -0.2,
        "chart": 0.5 if n.chart else 0.0,
        "length": 0.2 * min(float(np.log2(max(n.seconds, 0.1) / max(length, 0.1))), 1.0),
        "tone": -1.0 if transfer_of(clip.encoding).kind == "display" else 0.0,
        "middle": -(off if off is not None else 1.0),
    }


def _from_the_middle(clips: Sequence[ClipView], seen: Sequence[Link]) -> dict[str, float]:
    """How far each clip is from the place's middle, in stops and 40 mireds together."""
    if not seen:
        return {}
    edges = [Edge.of(x) for x in seen]
    found = agree(seen[0].a, edges).gains
    middle = np.median(np.array(list(found.values())), axis=0)
    return {clip: _size(gains - middle) for clip, gains in found.items()}


def _size(gains: NDArray[np.float64]) -> float:
    moved = ratios.difference_of(gains)
    return abs(moved.stops) + ratios.mired_size(gains) / 40
