"""Which clip of a place the others should follow: by what was measured, with the reason.

Points are given for what a colourist would look for; the weights are judgement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import transfer_of
from evenhand.measure import ratios
from evenhand.measure.agreement import Edge, agree
from evenhand.measure.clipview import ClipView
from evenhand.measure.decisions import Link

BY_HAND = "chosen by hand"
WELL_EXPOSED = 0.10  # light in the middle of a well exposed picture
# What each point is about, as the reason says it of the better clip.
_SAYS = {
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


def choose_reference(
    clips: Sequence[ClipView], links: Sequence[Link], chosen: Sequence[str] = ()
) -> tuple[str, str]:
    """The reference clip of a place, and why. chosen: by a person, the latest word first."""
    ids = {c.id for c in clips}
    by_hand = [i for i in chosen if i in ids]
    if by_hand:
        return by_hand[0], BY_HAND
    if len(clips) == 1:
        return clips[0].id, "the only clip"
    seen = [x for x in links if x.match.accepted and x.a in ids and x.b in ids]
    off = _from_the_middle(clips, seen)
    points = {c.id: _points(c, clips, seen, off.get(c.id)) for c in clips}
    order = sorted(clips, key=lambda c: (-sum(points[c.id].values()), c.order))
    best, second = order[0], order[1]
    views = sum(best.id in (x.a, x.b) for x in seen)
    told = [f"sees {views} of the {len(clips) - 1} others", *_numbers(best)]
    return best.id, f"{', '.join(told)}; {_before(points[best.id], points[second.id], second.id)}"


def _numbers(clip: ClipView) -> list[str]:
    n = clip.numbers
    told = [
        f"its middle tone is {_stops(n.middle)}",
        f"{n.clipped:.1%} of it clipped",
        f"{n.crushed:.1%} in noise",
    ]
    if n.chart:
        told.append("a chart in it")
    if n.off_neutral is not None:
        told.append(f"its greys are {n.off_neutral:.0f} mired from neutral as shot")
    return [*told, f"{n.seconds:.1f} s long"]


def _stops(middle: float) -> str:
    stops = _off_exposure(middle)
    if abs(stops) < 0.05:
        return "where a well exposed picture has it"
    return (
        f"{abs(stops):.1f} stop {'over' if stops > 0 else 'under'} that of a well exposed picture"
    )


def _off_exposure(middle: float) -> float:
    return float(np.log2(max(middle, 1e-4) / WELL_EXPOSED))


def _before(best: Mapping[str, float], second: Mapping[str, float], name: str) -> str:
    """Why the best one was taken before the next best."""
    ahead = {what: best[what] - second[what] for what in best}
    what = max(ahead, key=lambda w: ahead[w])
    if ahead[what] < 0.01:
        return f"{name} would do as well, and comes later"
    return f"taken before {name} because it {_SAYS[what]}"


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
