"""What levelling changes against what was decided before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from evenhand.grade.document import Steadying, White
from evenhand.grade.steadying import changes_nothing
from evenhand.measure.decisions import LevelDecision, Place
from evenhand.shoot.document import ClipEntry, Shoot

NEW = "not levelled"  # what a clip was before its first levelling
UNSEEN_STOPS, UNSEEN_KELVIN, UNSEEN_DUV = 0.005, 5.0, 0.00005  # what is not printed is no change


class Change(msgspec.Struct, frozen=True):
    """One thing that becomes another, in words: of a clip, or of a place ("reference")."""

    subject: str
    what: str
    before: str
    after: str


def changes(
    shoot: Shoot,
    places: Sequence[Place],
    decisions: Sequence[LevelDecision],
    steadying: Mapping[str, Steadying | None],
) -> tuple[Change, ...]:
    """Everything that is decided otherwise than the document has it; steadying is by clip."""
    told = []
    for decision in decisions:
        clip = shoot.clip(decision.clip)
        told += _of_clip(shoot, clip, decision)
        now, then = _light(clip.levelling.steadying), _light(steadying.get(clip.id))
        if clip.levelled is not None and now != then:
            told.append(Change(clip.id, "light inside the clip", now, then))
    before = {s.name: s.reference for s in shoot.places}
    for place in places:
        old = before.get(place.name, "")
        if old and old != place.reference:
            told.append(Change(place.name, "reference", old, place.reference))
    return tuple(told)


def _light(steadying: Steadying | None) -> str:
    return "left as shot" if changes_nothing(steadying) else "evened out"


def _of_clip(shoot: Shoot, clip: ClipEntry, decision: LevelDecision) -> list[Change]:
    if clip.levelled is None:
        return [Change(clip.id, "status", NEW, decision.status)]
    told = []
    place = shoot.place_of(clip.id)
    if place is None or place.name != decision.place:
        told.append(Change(clip.id, "place", place.name if place else "none", decision.place))
    if clip.levelled.status != decision.status:
        told.append(Change(clip.id, "status", clip.levelled.status, decision.status))
    if abs(clip.levelling.stops - decision.stops) >= UNSEEN_STOPS:
        before, after = (f"{s:+.2f} stop" for s in (clip.levelling.stops, decision.stops))
        told.append(Change(clip.id, "exposure", before, after))
    if _differ(clip.levelling.white, decision.white):
        told.append(
            Change(clip.id, "white was", _white(clip.levelling.white), _white(decision.white))
        )
    return told


def _differ(a: White | None, b: White | None) -> bool:
    if a is None or b is None:
        return a is not b
    return abs(a.kelvin - b.kelvin) >= UNSEEN_KELVIN or abs(a.duv - b.duv) >= UNSEEN_DUV


def _white(white: White | None) -> str:
    return "as shot" if white is None else f"{white.kelvin:.0f} K, Duv {white.duv:+.4f}"
