"""What levelling changes against what was decided before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec

from evenhand.grade.document import Steadying, White
from evenhand.grade.steadying import changes_nothing
from evenhand.measure.decisions import LevelDecision, Place
from evenhand.shoot.document import ClipEntry, Shoot

UNSEEN_STOPS, UNSEEN_KELVIN, UNSEEN_DUV = 0.005, 5.0, 0.00005  # what is not printed is no change


class Change(msgspec.Struct, frozen=True):
    """One thing of a clip that becomes another; "reference" is of a place.

    Values are a status (before the first levelling None), the name of a place or a clip, exposure
    in stops, the white of the clip (None: as shot), and whether drift is evened out.
    """

    subject: str
    what: Literal["status", "place", "exposure", "white", "drift", "reference"]
    before: bool | float | str | White | None
    after: bool | float | str | White | None

    @property
    def first(self) -> bool:
        """Whether the clip was never levelled before."""
        return self.what == "status" and self.before is None


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
        now, then = (
            not changes_nothing(s) for s in (clip.levelling.steadying, steadying.get(clip.id))
        )
        if clip.levelled is not None and now != then:
            told.append(Change(clip.id, "drift", now, then))
    before = {s.name: s.reference for s in shoot.places}
    for place in places:
        old = before.get(place.name, "")
        if old and old != place.reference:
            told.append(Change(place.name, "reference", old, place.reference))
    return tuple(told)


def _of_clip(shoot: Shoot, clip: ClipEntry, decision: LevelDecision) -> list[Change]:
    if clip.levelled is None:
        return [Change(clip.id, "status", None, decision.status)]
    told = []
    place = shoot.place_of(clip.id)
    if place is None or place.name != decision.place:
        told.append(Change(clip.id, "place", place.name if place else None, decision.place))
    if clip.levelled.status != decision.status:
        told.append(Change(clip.id, "status", clip.levelled.status, decision.status))
    if abs(clip.levelling.stops - decision.stops) >= UNSEEN_STOPS:
        told.append(Change(clip.id, "exposure", clip.levelling.stops, decision.stops))
    if _differ(clip.levelling.white, decision.white):
        told.append(Change(clip.id, "white", clip.levelling.white, decision.white))
    return told


def _differ(a: White | None, b: White | None) -> bool:
    if a is None or b is None:
        return a is not b
    return abs(a.kelvin - b.kelvin) >= UNSEEN_KELVIN or abs(a.duv - b.duv) >= UNSEEN_DUV
