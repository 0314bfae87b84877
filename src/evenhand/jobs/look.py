"""Using a look on clips, and listing what there is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.grade.document import LookUse
from evenhand.grade.exact import exact_transform
from evenhand.grade.looks import LOOKS, look_named
from evenhand.grade.renderings import output_encoding
from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry


class LookLine(msgspec.Struct, frozen=True):
    """One look as a person reads it."""

    name: str
    title: str
    purpose: str
    space: str
    moves: tuple[str, ...]


def list_looks() -> tuple[LookLine, ...]:
    """Every look that comes with evenhand."""
    return tuple(
        LookLine(look.name, look.title, look.purpose, look.space, tuple(look.moves))
        for look in LOOKS.values()
    )


def use_look(
    folder: Path, name: str | None, strength: float, clips: Sequence[str] = ()
) -> tuple[ClipEntry, ...]:
    """Put a look on clips (all readable ones if none is named) and save; None takes it off.

    Raises UsageError for a look or a clip that does not exist, and for a look that was not made for
    the rendering of a clip.
    """
    if name is not None:
        look_named(name)
    shoot = store.load(folder)
    chosen = [shoot.clip(c) for c in clips] if clips else list(shoot.readable())
    use = None if name is None else LookUse(name, strength)
    changed = [msgspec.structs.replace(clip, look=use) for clip in chosen]
    for clip in changed:
        if use is None or clip.encoding is None:
            continue
        grade = shoot.grade(clip)
        if output_encoding(grade.rendering).name != "bt709":
            exact_transform(grade)  # refuses a look that was not made for this rendering
    store.save(folder, shoot.with_clips(*changed))
    return tuple(changed)
