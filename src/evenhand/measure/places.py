"""Which clips were made in one place under one light, and which of them the others should follow.

Clips that share an accepted view belong together. A clip that shares none joins the place beside
it when the time and the colours of the light say so: that only puts it on the same page, for
levelling leaves it alone. What a person names is taken as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from evenhand.measure.clipview import ClipView, PictureNumbers, picture_numbers, summary_of
from evenhand.measure.decisions import Link, Member, Place
from evenhand.measure.neighbours import BREAK, neighbour, pause_between
from evenhand.measure.pairs import find_links
from evenhand.measure.reference import choose_reference
from evenhand.reasons import Reason, because

__all__ = [
    "BREAK",
    "ClipView",
    "Named",
    "PictureNumbers",
    "find_links",
    "group",
    "picture_numbers",
    "summary_of",
]

NEW_LIGHT = 3 * 3600.0  # seconds; after so long a pause the light is another one, same view or not

Clips = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Named:
    """What a person said, or what was so before.

    places: by name, exactly these clips. names: names of measured places with the clips they had;
    the place that most of them are in keeps the name. references: clips chosen as the reference of
    whatever place they are in, the latest word first.
    """

    places: Mapping[str, Sequence[str]] = field(default_factory=dict)
    names: Mapping[str, Sequence[str]] = field(default_factory=dict)
    references: Sequence[str] = ()


def group(
    clips: Sequence[ClipView], links: Sequence[Link] | None = None, said: Named | None = None
) -> tuple[Place, ...]:
    """Puts the clips into places, each clip in one, in the order of the card.

    links: from `find_links`, found here where None. Clips of places that a person made are taken
    out of the automatic grouping.
    """
    said = said or Named()
    ordered = sorted(clips, key=lambda c: c.order)
    by_id = {c.id: c for c in ordered}
    links = find_links(ordered) if links is None else links
    places = []
    home: dict[str, str] = {}
    for name, ids in said.places.items():
        inside = sorted((i for i in ids if i in by_id), key=lambda i: by_id[i].order)
        members = [Member(i, "named", (because("place.by-hand", place=name),)) for i in inside]
        home.update(dict.fromkeys(inside, name))
        if members:
            places.append((name, members))
    free = [c for c in ordered if c.id not in home]
    groups = [_told_of_named(members, links, home) for members in _automatic(free, links)]
    places += list(zip(_names(groups, said), groups, strict=True))
    chosen = []
    for name, members in places:
        inside = [m.clip for m in members]
        reference, why = choose_reference([by_id[i] for i in inside], links, said.references)
        chosen.append(Place(name, tuple(inside), reference, why, tuple(members)))
    return tuple(sorted(chosen, key=lambda s: by_id[s.clips[0]].order))


def _names(groups: Sequence[Sequence[Member]], said: Named) -> list[str]:
    """A name for each group: the one that most of its clips had before, or a new number."""
    shared = []
    for place, members in enumerate(groups):
        inside = {m.clip for m in members}
        shared += [
            (-len(inside & set(clips)), place, name)
            for name, clips in said.names.items()
            if inside & set(clips) and name not in said.places
        ]
    found: dict[int, str] = {}
    for _, place, name in sorted(shared):
        if place not in found and name not in found.values():
            found[place] = name
    taken = {*found.values(), *said.places}
    fresh = (n for n in (f"place {i}" for i in range(1, len(groups) + len(taken) + 2)))
    unused = (name for name in fresh if name not in taken)
    return [found[place] if place in found else next(unused) for place in range(len(groups))]


def _automatic(clips: Sequence[ClipView], links: Sequence[Link]) -> list[list[Member]]:
    """Groups by shared views, then lets the clips that share none join a neighbour."""
    parts = _connected(clips, links)
    groups: list[list[Member]] = []
    lone: list[ClipView] = []
    for part in parts:
        if len(part) == 1:
            lone.append(part[0])
        else:
            inside = {c.id for c in part}
            groups.append(
                [Member(c.id, "view", (_view_reason(c.id, inside, links),)) for c in part]
            )
    by_id = {c.id: c for c in clips}
    home = {m.clip: members for members in groups for m in members}
    for clip in lone:
        member, members = neighbour(clip, clips, home, links)
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
        pause = pause_between(by_id[link.a], by_id[link.b])
        if pause is None or pause < NEW_LIGHT:
            root[top(link.b)] = top(link.a)
    parts: dict[str, list[ClipView]] = {}
    for clip in clips:
        parts.setdefault(top(clip.id), []).append(clip)
    return list(parts.values())


def _seen_by(clip: str, links: Sequence[Link]) -> list[str]:
    """The clips that share an accepted view with one."""
    both = [(link.a, link.b) for link in links if link.match.accepted]
    return sorted({b for a, b in both if a == clip} | {a for a, b in both if b == clip})


def _view_reason(clip: str, inside: set[str], links: Sequence[Link]) -> Reason:
    return because("place.same-view", clips=[c for c in _seen_by(clip, links) if c in inside])


def _told_of_named(
    members: Sequence[Member], links: Sequence[Link], home: Mapping[str, str]
) -> list[Member]:
    """The members, and of those that see clips of a place made by hand, that they do."""
    told = []
    for member in members:
        seen = [c for c in _seen_by(member.clip, links) if c in home]
        if seen:
            why = because("place.seen-by-hand-made", clip=seen[0], place=home[seen[0]])
            member = Member(member.clip, member.how, (*member.why, why))
        told.append(member)
    return told
