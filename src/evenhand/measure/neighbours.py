"""Where a clip goes that shares no view with any other: to a place beside it, or nowhere.

Beside it in time where every clip says when it was made, else in the order of the card. Only a
clear case is decided; everything else stays a place of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenhand.measure.clipview import ClipView, summary_of
from evenhand.measure.colours import ColourLikeness, colour_likeness
from evenhand.measure.decisions import Link, Member
from evenhand.measure.matching import INLIER_RATIO, INLIERS, SPREAD, SUPPORT
from evenhand.reasons import Why, because

BREAK = 20 * 60.0  # seconds; a pause as long as this separates clips that share no view
ALIKE, ALIKE_SHIFTED, CLEARER = 0.40, 0.85, 0.15  # colour histogram correlations (judgement)


@dataclass(frozen=True, slots=True)
class _Candidate:
    members: list[Member]
    beside: str
    pause: float | None
    likeness: ColourLikeness | None

    @property
    def alike(self) -> bool:
        if self.likeness is None:
            return False
        return self.likeness.as_shot >= ALIKE or self.likeness.shifted >= ALIKE_SHIFTED

    @property
    def close(self) -> bool:
        return self.pause is not None and self.pause < BREAK

    @property
    def as_shot(self) -> float:
        return self.likeness.as_shot if self.likeness else 0.0


def pause_between(a: ClipView, b: ClipView) -> float | None:
    """Seconds between two clips, or None where either does not say when it was made."""
    if a.created is None or b.created is None:
        return None
    return abs(a.created - b.created)


def neighbour(
    clip: ClipView,
    clips: Sequence[ClipView],
    home: Mapping[str, list[Member]],
    links: Sequence[Link],
) -> tuple[Member, list[Member] | None]:
    """The place that a clip without a shared view joins, or None and why.

    home: the members of the place of every clip that has one so far.
    """
    by_id = {c.id: c for c in clips}
    lit = _lit_otherwise(clip, home, links)
    if lit is not None:
        return Member(clip.id, "alone", lit), None
    beside = _beside(clip, clips, home)
    candidates: list[_Candidate] = []
    for other in beside:
        members = home[other]
        if all(c.members is not members for c in candidates):
            near = _closest(clip, [by_id[m.clip] for m in members])
            pause = pause_between(clip, by_id[other])
            candidates.append(_Candidate(members, other, pause, near))
    # Where times are known, a long pause speaks against; where they are not, colours decide alone.
    near_in_time = [c for c in candidates if c.pause is None or c.pause < BREAK]
    fitting = [c for c in near_in_time if c.alike]
    surrounded = len(candidates) == 1 and len(beside) == 2
    if surrounded and candidates[0].close:
        fitting = candidates
    if not fitting:
        return Member(clip.id, "alone", _alone(candidates)), None
    best = max(fitting, key=lambda c: c.as_shot)
    rest = [c.as_shot for c in near_in_time if c is not best]
    if rest and best.as_shot - max(rest) < CLEARER:
        return Member(clip.id, "alone", (because("place.like-both"),)), None
    return Member(clip.id, "neighbour", _joined(best)), best.members


def _lit_otherwise(
    clip: ClipView, home: Mapping[str, list[Member]], links: Sequence[Link]
) -> Why | None:
    """That the clip sees what clips of a place see, but not in their light; or None.

    The key points leave no doubt about the place, and the ratio of the light differs all over it:
    no camera does that, so it must be the light.
    """
    for link in links:
        other = link.b if link.a == clip.id else link.a
        found = link.match
        if clip.id not in (link.a, link.b) or other not in home or found.accepted:
            continue
        certain = found.inliers >= INLIERS and found.inlier_ratio >= INLIER_RATIO
        if certain and (found.spread > SPREAD or found.support < SUPPORT):
            return (because("place.other-light", clip=other), *found.why)
    return None


def _beside(
    clip: ClipView, clips: Sequence[ClipView], home: Mapping[str, list[Member]]
) -> list[str]:
    """The nearest clips before and after that already have a place."""
    if all(c.created is not None for c in clips):
        place = {c.id: (c.created or 0.0, c.order) for c in clips}
    else:
        place = {c.id: (0.0, c.order) for c in clips}
    ordered = sorted(clips, key=lambda c: place[c.id])
    before = [c for c in ordered if place[c.id] < place[clip.id] and c.id in home]
    after = [c for c in ordered if place[c.id] > place[clip.id] and c.id in home]
    return [c.id for c in before[-1:] + after[:1]]


def _closest(clip: ClipView, others: Sequence[ClipView]) -> ColourLikeness | None:
    own = summary_of(clip).colours
    found = []
    for other in others:
        theirs = summary_of(other).colours
        if own is not None and theirs is not None:
            found.append(colour_likeness(theirs, own))
    return max(found, key=lambda f: f.as_shot, default=None)


def _joined(best: _Candidate) -> Why:
    return (because("place.beside", **_facts(best)),)


def _alone(candidates: Sequence[_Candidate]) -> Why:
    if not candidates:
        return (because("place.no-view"),)
    beside = (because("place.not-like", **_facts(c)) for c in candidates)
    return (because("place.none-clear"), *beside)


def _facts(candidate: _Candidate) -> dict[str, str | float | None]:
    """The clip beside, the pause in seconds where it is known, the correlation of the colours."""
    return {
        "clip": candidate.beside,
        "pause": candidate.pause,
        "correlation": float(candidate.as_shot),
    }
