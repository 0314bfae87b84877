"""What a person says of setups: changes of the document alone, nothing is measured here.

Clips that a person puts into a setup stay in it, and nothing else joins it. A setup that was only
given a name goes on being measured, and keeps the name.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from difflib import get_close_matches
from typing import Literal

import msgspec

from evenhand.errors import UsageError
from evenhand.shoot.document import SetupEntry, Shoot

Word = Literal["setups", "references", "greys"]


def setup_named(shoot: Shoot, name: str) -> SetupEntry:
    """The setup of this name. Raises UsageError with the nearest names."""
    for entry in shoot.setups:
        if entry.name == name:
            return entry
    names = [entry.name for entry in shoot.setups]
    near = get_close_matches(name, names, 3, 0.4) or names[:3]
    remedy = f"Did you mean {' or '.join(near)}?" if near else "Make setups first: evenhand level"
    raise UsageError(name, "the shoot has no setup of this name", remedy)


def put(shoot: Shoot, name: str, clips: Sequence[str]) -> Shoot:
    """Put clips (ids) into the setup of this name, which is made where there is none."""
    _checked_name(name)
    before = next((s for s in shoot.setups if s.name == name), None)
    inside = [*(before.clips if before else ()), *clips]
    entry = before or SetupEntry(name=name, clips=(), reference="")
    entry = msgspec.structs.replace(
        entry, clips=_in_order(shoot, inside), by="person", named_by="person"
    )
    others = [_without(s, clips) for s in shoot.setups if s.name != name]
    return _with(shoot, [*others, entry])


def renamed(shoot: Shoot, old: str, new: str) -> Shoot:
    """Give a setup another name; its clips go on being measured where they were."""
    entry = setup_named(shoot, old)
    _checked_name(new)
    if old != new and any(s.name == new for s in shoot.setups):
        raise UsageError(
            new,
            "another setup has this name",
            f'Join the two: evenhand level --join "{new}" "{old}"',
        )
    changed = msgspec.structs.replace(entry, name=new, named_by="person")
    return _with(shoot, [changed if s is entry else s for s in shoot.setups])


def joined(shoot: Shoot, first: str, second: str) -> Shoot:
    """Make one setup of two; the name and the reference of the first stay."""
    one, other = setup_named(shoot, first), setup_named(shoot, second)
    if one is other:
        raise UsageError(first, "a setup cannot be joined to itself", "Name two setups")
    entry = msgspec.structs.replace(
        one, clips=_in_order(shoot, [*one.clips, *other.clips]), by="person"
    )
    if one.reference_by != "person" and other.reference_by == "person":
        entry = msgspec.structs.replace(entry, reference=other.reference, reference_by="person")
    return _with(shoot, [entry if s is one else s for s in shoot.setups if s is not other])


def split(shoot: Shoot, name: str, clips: Sequence[str], new: str | None = None) -> Shoot:
    """Take clips (ids) out of a setup into one of their own, named after it unless `new` is given.

    Raises UsageError for clips that are not in it, and where none would stay.
    """
    entry = setup_named(shoot, name)
    strangers = [c for c in clips if c not in entry.clips]
    if strangers:
        raise UsageError(
            strangers[0], f"it is not in {name}", f"{name} holds {', '.join(entry.clips)}"
        )
    if set(clips) == set(entry.clips):
        raise UsageError(
            name, "no clip would stay in it", f'Name it anew: evenhand level --rename "{name}" NEW'
        )
    names = {s.name for s in shoot.setups}
    fresh = new or next(n for n in (f"{name} {i}" for i in range(2, 1000)) if n not in names)
    if fresh in names:
        raise UsageError(fresh, "another setup has this name", "Choose another name")
    return put(shoot, fresh, clips)


def forgotten(shoot: Shoot, words: Collection[Word], clips: Collection[str] = ()) -> Shoot:
    """Take back what a person said: of the setups, references and grey cards of these clips (ids).

    Without clips, of all of them.
    """
    setups = []
    for entry in shoot.setups:
        touched = not clips or any(c in clips for c in entry.clips)
        if "setups" in words and touched and "person" in (entry.by, entry.named_by):
            # Without a name, so that it is grouped and numbered anew; the reference stays said.
            entry = msgspec.structs.replace(
                entry, name="", by="measurement", named_by="measurement"
            )
        if "references" in words and (not clips or entry.reference in clips):
            entry = msgspec.structs.replace(entry, reference_by="measurement")
        setups.append(entry)
    greys = shoot.greys
    if "greys" in words:
        greys = tuple(g for g in greys if clips and g.clip not in clips)
    return msgspec.structs.replace(shoot, setups=tuple(setups), greys=greys)


def _checked_name(name: str) -> None:
    if not name.strip() or name != name.strip() or not name.isprintable():
        raise UsageError("--setup", f"{name!r} is no name for a setup", "Write a word or two")


def _in_order(shoot: Shoot, clips: Collection[str]) -> tuple[str, ...]:
    return tuple(c.id for c in shoot.clips if c.id in clips)


def _without(entry: SetupEntry, clips: Collection[str]) -> SetupEntry:
    """A setup after clips were taken out of it; its reference is measured anew if it went."""
    kept = tuple(c for c in entry.clips if c not in clips)
    gone = entry.reference in clips
    return msgspec.structs.replace(
        entry, clips=kept, reference_by="measurement" if gone else entry.reference_by
    )


def _with(shoot: Shoot, setups: Sequence[SetupEntry]) -> Shoot:
    return msgspec.structs.replace(shoot, setups=tuple(s for s in setups if s.clips))
