"""Decisions that need nothing measured: leaving clips out of masters, and taking words back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.forgetting import Word, forgotten
from evenhand.shoot.history import Origin


def leave_out(
    folder: Path, names: Sequence[str], out: bool = True, by: Origin | None = None
) -> tuple[ClipEntry, ...]:
    """Leave clips out of masters, or take them back; returns all that are left out now."""

    def edit(shoot: Shoot) -> Shoot:
        changed = [msgspec.structs.replace(shoot.clip(name), left_out=out) for name in names]
        return shoot.with_clips(*changed)

    shoot = store.change(folder, by or Origin("leave-out"), edit)
    return tuple(clip for clip in shoot.clips if clip.left_out)


def forget(
    folder: Path, words: Sequence[Word], names: Sequence[str] = (), by: Origin | None = None
) -> int:
    """Take back what a person said, of some clips or of all; returns how many things changed."""
    before = store.load(folder)

    def edit(shoot: Shoot) -> Shoot:
        return forgotten(shoot, words, [shoot.clip(name).id for name in names])

    after = store.change(folder, by or Origin("forget"), edit)
    return 0 if after.revision == before.revision else len(store.edits_of(folder, after.revision))
