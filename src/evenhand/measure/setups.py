"""Which clips were made in one place under one light, and which of them the others should follow.

Clips that share an accepted view belong together. A clip that shares none joins the setup beside
it on the card when the time and the colours of the light say so: that only puts it on the same
page, for levelling leaves it alone. What a person names is taken as it is.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.measure import ratios
from evenhand.measure.agreement import Edge, agree
from evenhand.measure.colours import ColourLikeness, colour_histogram, colour_likeness
from evenhand.measure.decisions import Link, Member, Setup
from evenhand.measure.matching import FEW, match_clips
from evenhand.measure.views import CLIP_MARGIN, AnalysisFrame, Features, similar

WINDOW = 24  # clips on the card; farther apart, only their middle frames are asked first
FEW_ALIKE = 12
NEW_LIGHT = 3 * 3600.0  # seconds; after so long a pause the light is another one, same view or not
BREAK = 20 * 60.0  # seconds; a pause as long as this separates clips that share no view
ALIKE, ALIKE_SHIFTED, CLEARER = 0.40, 0.85, 0.15  # colour histogram correlations (judgement)


@dataclass(frozen=True, slots=True)
class PictureNumbers:
    """Simple facts of a clip's pictures: shares clipped and in noise, middle light, sharpness."""

    clipped: float
    crushed: float
    middle: float
    seconds: float


@dataclass(frozen=True, slots=True)
class ClipView:
    """A clip as grouping and levelling see it: five frames from 10 % to 90 % of its length.

    `created` is in seconds on any one clock, or None; `order` is the place on the card.
    """

    id: str
    created: float | None
    order: int
    encoding: Encoding
    features: tuple[Features, ...]
    numbers: PictureNumbers


def picture_numbers(frames: Sequence[AnalysisFrame], seconds: float) -> PictureNumbers:
    """Measures a clip's analysis frames; `seconds` is the clip's length."""
    if not frames:
        return PictureNumbers(0.0, 1.0, 0.0, seconds)
    clipped = [(f.signal.max(axis=-1) >= f.clip_level - CLIP_MARGIN).mean() for f in frames]
    crushed = [(f.light.max(axis=-1) <= f.floor).mean() for f in frames]
    middle = [np.median(f.light[..., 1]) for f in frames]
    return PictureNumbers(
        float(np.mean(clipped)), float(np.mean(crushed)), float(np.mean(middle)), seconds
    )


def find_links(clips: Sequence[ClipView]) -> tuple[Link, ...]:
    """Compares the clips two by two, and keeps what had a common view, accepted or not."""
    ordered = sorted(clips, key=lambda c: c.order)
    links = []
    for i, a in enumerate(ordered):
        for k, b in enumerate(ordered[i + 1 :], start=1):
            if k > WINDOW and not _promising(a, b):
                continue
            found = match_clips(a.features, b.features)
            if found.inliers:
                links.append(Link(a.id, b.id, found))
    return tuple(links)


def _promising(a: ClipView, b: ClipView) -> bool:
    if not a.features or not b.features:
        return False
    first, second = a.features[len(a.features) // 2], b.features[len(b.features) // 2]
    return len(similar(first, second, FEW)) >= FEW_ALIKE


def group(
    clips: Sequence[ClipView],
    links: Sequence[Link] | None = None,
    named: Mapping[str, Sequence[str]] | None = None,
    references: Collection[str] = (),
) -> tuple[Setup, ...]:
    """Puts the clips into setups, each clip in one.

    links: from `find_links`, found here where None. named: setups that a person made, by name, with
    their clips; these clips are taken out of the automatic grouping. references: clips that a
    person chose as the reference of whatever setup they are in.
    """
    ordered = sorted(clips, key=lambda c: c.order)
    by_id = {c.id: c for c in ordered}
    links = find_links(ordered) if links is None else links
    setups = []
    taken: set[str] = set()
    for name, ids in (named or {}).items():
        members = [Member(i, "named", f"put into {name} by hand") for i in ids if i in by_id]
        taken.update(m.clip for m in members)
        if members:
            setups.append((name, members))
    free = [c for c in ordered if c.id not in taken]
    names = iter(f"setup {n}" for n in range(1, len(free) + 1))
    setups += [(next(names), members) for members in _automatic(free, links)]
    chosen = [_setup(name, members, by_id, links, references) for name, members in setups]
    return tuple(sorted(chosen, key=lambda s: by_id[s.clips[0]].order))


def _automatic(clips: Sequence[ClipView], links: Sequence[Link]) -> list[list[Member]]:
    """Groups by shared views, then lets the clips that share none join a neighbour."""
    parts = _connected(clips, links)
    groups: list[list[Member]] = []
    lone: list[ClipView] = []
    for part in parts:
        if len(part) == 1:
            lone.append(part[0])
        else:
            groups.append([Member(c.id, "view", _view_reason(c.id, links)) for c in part])
    by_id = {c.id: c for c in clips}
    home = {m.clip: members for members in groups for m in members}
    for clip in lone:
        member, members = _neighbour(clip, clips, by_id, home)
        if members is None:
            members = []
            groups.append(members)
        members.append(member)
        home[clip.id] = members
    groups = [sorted(g, key=lambda m: by_id[m.clip].order) for g in groups]
    return sorted(groups, key=lambda g: by_id[g[0].clip].order)


def _connected(clips: Sequence[ClipView], links: Sequence[Link]) -> list[list[ClipView]]:
    by_id = {c.id: c for c in clips}
    root = {c.id: c.id for c in clips}

    def top(clip: str) -> str:
        while root[clip] != clip:
            clip = root[clip]
        return clip

    for link in links:
        if not link.match.accepted or link.a not in by_id or link.b not in by_id:
            continue
        pause = _pause(by_id[link.a], by_id[link.b])
        if pause is None or pause < NEW_LIGHT:
            root[top(link.b)] = top(link.a)
    parts: dict[str, list[ClipView]] = {}
    for clip in clips:
        parts.setdefault(top(clip.id), []).append(clip)
    return list(parts.values())


def _pause(a: ClipView, b: ClipView) -> float | None:
    if a.created is None or b.created is None:
        return None
    return abs(a.created - b.created)


def _view_reason(clip: str, links: Sequence[Link]) -> str:
    others = [
        link.b if link.a == clip else link.a
        for link in links
        if link.match.accepted and clip in (link.a, link.b)
    ]
    return f"shares a view with {', '.join(sorted(others))}"


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


def _neighbour(
    clip: ClipView,
    clips: Sequence[ClipView],
    by_id: Mapping[str, ClipView],
    home: Mapping[str, list[Member]],
) -> tuple[Member, list[Member] | None]:
    """The setup that a clip without a shared view joins, or None and why."""
    candidates: list[_Candidate] = []
    for beside in _beside(clip, clips, home):
        members = home[beside]
        if all(c.members is not members for c in candidates):
            candidates.append(
                _Candidate(
                    members,
                    beside,
                    _pause(clip, by_id[beside]),
                    _closest(clip, [by_id[m.clip] for m in members]),
                )
            )
    # Where times are known, a long pause speaks against; where they are not, colours decide alone.
    near = [c for c in candidates if c.pause is None or c.pause < BREAK]
    fitting = [c for c in near if c.alike]
    surrounded = len(candidates) == 1 and len(_beside(clip, clips, home)) == 2
    if surrounded and candidates[0].close:
        fitting = candidates
    if not fitting:
        return Member(clip.id, "alone", _alone(candidates)), None
    best = max(fitting, key=lambda c: c.as_shot)
    rest = [c.as_shot for c in near if c is not best]
    if rest and best.as_shot - max(rest) < CLEARER:
        reason = "shares no view, and its light is like that of both setups beside it"
        return Member(clip.id, "alone", reason), None
    return Member(clip.id, "neighbour", _joined(best)), best.members


def _beside(
    clip: ClipView, clips: Sequence[ClipView], home: Mapping[str, list[Member]]
) -> list[str]:
    """The nearest clips before and after on the card that already have a setup."""
    before = [c for c in clips if c.order < clip.order and c.id in home]
    after = [c for c in clips if c.order > clip.order and c.id in home]
    return [c.id for c in before[-1:] + after[:1]]


def _closest(clip: ClipView, others: Sequence[ClipView]) -> ColourLikeness | None:
    own = colour_histogram(clip.features)
    found = []
    for other in others:
        theirs = colour_histogram(other.features)
        if own is not None and theirs is not None:
            found.append(colour_likeness(theirs, own))
    return max(found, key=lambda f: f.as_shot, default=None)


def _joined(best: _Candidate) -> str:
    when = f"{best.pause / 60:.0f} min from" if best.pause is not None else "beside"
    return (
        f"shares no view, but was made {when} {best.beside} under light of like colour "
        f"(correlation {best.as_shot:.2f})"
    )


def _alone(candidates: Sequence[_Candidate]) -> str:
    if not candidates:
        return "shares no view with any clip"
    told = [
        f"{c.beside}: "
        + (f"{c.pause / 60:.0f} min away, " if c.pause is not None else "")
        + f"colour correlation {c.as_shot:.2f}"
        for c in candidates
    ]
    return f"shares no view, and no setup beside it is clearly its own ({'; '.join(told)})"


def _setup(
    name: str,
    members: Sequence[Member],
    by_id: Mapping[str, ClipView],
    links: Sequence[Link],
    references: Collection[str],
) -> Setup:
    ids = tuple(m.clip for m in members)
    chosen = [i for i in ids if i in references]
    if chosen:
        reference, why = chosen[0], "chosen by hand"
    else:
        reference, why = _best_reference([by_id[i] for i in ids], links)
    return Setup(name, ids, reference, why, tuple(members))


def _best_reference(clips: Sequence[ClipView], links: Sequence[Link]) -> tuple[str, str]:
    """The clip that sees most of the others, is well exposed, unclipped and in the middle."""
    if len(clips) == 1:
        return clips[0].id, "the only clip"
    ids = {c.id for c in clips}
    seen = [x for x in links if x.match.accepted and x.a in ids and x.b in ids]
    off = _from_the_middle(clips, seen)
    points = {c.id: _points(c, clips, seen, off.get(c.id)) for c in clips}
    best = max(clips, key=lambda c: (points[c.id], -c.order))
    views = sum(best.id in (x.a, x.b) for x in seen)
    n = best.numbers
    return best.id, (
        f"sees {views} of the {len(clips) - 1} others, {n.clipped:.1%} of it clipped, "
        f"{n.crushed:.1%} in noise, {n.seconds:.1f} s long"
    )


def _points(
    clip: ClipView, clips: Sequence[ClipView], seen: Sequence[Link], off: float | None
) -> float:
    """How well a clip would serve as reference. The weights are judgement."""
    n = clip.numbers
    views = sum(clip.id in (x.a, x.b) for x in seen) / (len(clips) - 1)
    exposure = abs(float(np.log2(max(n.middle, 1e-4) / 0.10)))
    length = float(np.median([c.numbers.seconds for c in clips]))
    points = 3 * views - 0.3 * min(exposure, 3.0)
    points -= min(n.clipped / 0.02, 1.0) + min(n.crushed / 0.2, 1.0)
    points += 0.2 * min(float(np.log2(max(n.seconds, 0.1) / max(length, 0.1))), 1.0)
    points -= 1.0 if transfer_of(clip.encoding).kind == "display" else 0.0
    return points - (off if off is not None else 1.0)


def _from_the_middle(clips: Sequence[ClipView], seen: Sequence[Link]) -> dict[str, float]:
    """How far each clip is from the setup's middle, in half stops and 20 mireds together."""
    if not seen:
        return {}
    edges = [Edge.of(x) for x in seen]
    found = agree(seen[0].a, edges).gains
    middle = np.median(np.array(list(found.values())), axis=0)
    return {clip: _size(gains - middle) for clip, gains in found.items()}


def _size(gains: NDArray[np.float64]) -> float:
    moved = ratios.difference_of(gains)
    return abs(moved.stops) + ratios.mired_size(gains) / 40
