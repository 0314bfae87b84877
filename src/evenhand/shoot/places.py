"""What a person says of places: changes of the document alone, nothing is measured here.

Clips that a person puts into a place stay in it, and nothing else joins it. A place that was only
given a name goes on being measured, and keeps the name.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from difflib import get_close_matches
from typing import Final

import msgspec

from evenhand.errors import UsageError
from evenhand.names import brief
from evenhand.shoot.document import PlaceEntry, Shoot

LONGEST: Final = 60  # letters of a place's name
_NAME: Final = "Write a word or two, such as oven"


def place_named(shoot: Shoot, name: str) -> PlaceEntry:
    """The place of this name. Raises UsageError with the nearest names."""
    for entry in shoot.places:
        if entry.name == name:
            return entry
    names = [entry.name for entry in shoot.places]
    near = get_close_matches(name, names, 3, 0.4) or names[:3]
    remedy = f"Did you mean {' or '.join(near)}?" if near else "Make places first: evenhand level"
    raise UsageError(name, "the shoot has no place of this name", remedy)


def put(shoot: Shoot, name: str, clips: Sequence[str]) -> Shoot:
    """Put clips (ids) into the place of this name, which is made where there is none."""
    _checked_name(name)
    before = next((s for s in shoot.places if s.name == name), None)
    inside = [*(before.clips if before else ()), *clips]
    entry = before or PlaceEntry(name=name, clips=(), reference="")
    entry = msgspec.structs.replace(
        entry, clips=_in_order(shoot, inside), by="person", named_by="person"
    )
    others = [_without(s, clips) for s in shoot.places if s.name != name]
    return _with(shoot, [*others, entry])


def renamed(shoot: Shoot, old: str, new: str) -> Shoot:
    """Give a place another name; its clips go on being measured where they were."""
    entry = place_named(shoot, old)
    _checked_name(new)
    if old != new and any(s.name == new for s in shoot.places):
        raise UsageError(
            new,
            "another place has this name",
            f'Join the two: evenhand level --join "{new}" "{old}"',
        )
    changed = msgspec.structs.replace(entry, name=new, named_by="person")
    return _with(shoot, [changed if s is entry else s for s in shoot.places])


def joined(shoot: Shoot, first: str, second: str) -> Shoot:
    """Make one place of two; the name and the reference of the first stay."""
    one, other = place_named(shoot, first), place_named(shoot, second)
    if one is other:
        raise UsageError(first, "a place cannot be joined to itself", "Name two places")
    entry = msgspec.structs.replace(
        one, clips=_in_order(shoot, [*one.clips, *other.clips]), by="person"
    )
    if one.reference_by != "person" and other.reference_by == "person":
        entry = msgspec.structs.replace(entry, reference=other.reference, reference_by="person")
    return _with(shoot, [entry if s is one else s for s in shoot.places if s is not other])


def split(shoot: Shoot, name: str, clips: Sequence[str], new: str | None = None) -> Shoot:
    """Take clips (ids) out of a place into one of their own, named after it unless `new` is given.

    Raises UsageError for clips that are not in it, and where none would stay.
    """
    entry = place_named(shoot, name)
    strangers = [c for c in clips if c not in entry.clips]
    if strangers:
        raise UsageError(
            strangers[0], f"it is not in {name}", f"{name} holds {', '.join(entry.clips)}"
        )
    if set(clips) == set(entry.clips):
        raise UsageError(
            name, "no clip would stay in it", f'Name it anew: evenhand level --rename "{name}" NEW'
        )
    names = {s.name for s in shoot.places}
    fresh = new
    if fresh is None:
        fresh = next(n for n in (f"{name} {i}" for i in range(2, 1000)) if n not in names)
    if fresh in names:
        raise UsageError(fresh, "another place has this name", "Choose another name")
    return put(shoot, fresh, clips)


def _checked_name(name: str) -> None:
    problem = (
        "it is empty"
        if not name.strip()
        else "it begins or ends with blanks"
        if name != name.strip()
        else f"it has {len(name)} letters, more than {LONGEST}"
        if len(name) > LONGEST
        else "it holds signs that cannot be seen"
        if not name.isprintable()
        else ""
    )
    if problem:
        raise UsageError(f"{brief(name)!r}", f"no name for a place: {problem}", _NAME)


def _in_order(shoot: Shoot, clips: Collection[str]) -> tuple[str, ...]:
    return tuple(c.id for c in shoot.clips if c.id in clips)


def _without(entry: PlaceEntry, clips: Collection[str]) -> PlaceEntry:
    """A place after clips were taken out of it; its reference is measured anew if it went."""
    kept = tuple(c for c in entry.clips if c not in clips)
    gone = entry.reference in clips
    return msgspec.structs.replace(
        entry, clips=kept, reference_by="measurement" if gone else entry.reference_by
    )


def _with(shoot: Shoot, places: Sequence[PlaceEntry]) -> Shoot:
    return msgspec.structs.replace(shoot, places=tuple(s for s in places if s.clips))
