"""Comparing the clips of a shoot two by two, each pair once: what came out is remembered."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from evenhand.jobs.looking import CLIP
from evenhand.jobs.progress import Progress, Step
from evenhand.jobs.views import Looked
from evenhand.measure.clipview import ClipView
from evenhand.measure.decisions import Evenness, LevelDecision, Link, Match, Place
from evenhand.measure.evenness import evenness
from evenhand.measure.pairs import compared, pairs, promising
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading


class _KeptPair(msgspec.Struct, frozen=True):
    """What comparing two clips gave: None where they have nothing in common."""

    match: Match | None


class _KeptEvenness(msgspec.Struct, frozen=True):
    evenness: Evenness


PAIR = Reading("pair", 3, _KeptPair, ("evenhand.measure.pairs:compared",))
EVENNESS = Reading("evenness", 3, _KeptEvenness, ("evenhand.measure.evenness:evenness",))


def links_of(
    measurements: Measurements,
    looked: Sequence[Looked],
    progress: Progress,
    failed: Callable[[str, Exception], None],
) -> tuple[Link, ...]:
    """Every pair of clips that had a common view, accepted or not, as `find_links` has them.

    A pair that cannot be compared has none; `failed` hears of its second clip.
    """
    by_id = {one.view.id: one for one in looked}
    number = {one.view.id: place for place, one in enumerate(looked, 1)}
    links: list[Link] = []
    for a, b, near in pairs([one.view for one in looked]):
        progress(Step("match", a.id, number[a.id], len(looked)))
        try:
            match = _match(measurements, by_id[a.id], by_id[b.id], near)
        except Exception as error:
            failed(b.id, error)
            continue
        links += [Link(a.id, b.id, match)] if match is not None else []
    return tuple(links)


def _match(measurements: Measurements, a: Looked, b: Looked, near: bool) -> Match | None:
    def make() -> _KeptPair:
        link = compared(a.view, b.view) if near or promising(a.view, b.view) else None
        return _KeptPair(link.match if link is not None else None)

    depends = (CLIP.number, b.source.fingerprint, a.source.key, b.source.key)
    return PAIR.of(measurements, a.source.fingerprint, make, *depends).match


def evenness_of(
    measurements: Measurements,
    place: Place,
    decisions: Sequence[LevelDecision],
    looked: Sequence[Looked],
    links: Sequence[Link],
) -> Evenness:
    """How alike the clips of a place are; measured again only where a decision changed."""
    mine = [d for d in decisions if d.place == place.name]
    inside = [x for x in links if x.a in place.clips and x.b in place.clips]
    sources = {one.view.id: one.source for one in looked}
    keys = [(sources[c].fingerprint, sources[c].key) for c in place.clips]
    unnamed = [msgspec.structs.replace(d, place="", why=(), would_change=()) for d in mine]

    def make() -> _KeptEvenness:
        views: dict[str, ClipView] = {one.view.id: one.view for one in looked}
        return _KeptEvenness(evenness(mine, views, links))

    reference = sources[place.reference].fingerprint
    kept = EVENNESS.of(measurements, reference, make, CLIP.number, unnamed, inside, keys)
    return msgspec.structs.replace(kept.evenness, place=place.name)
