"""What was decided in a shoot, and the way back: one command is one step."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.errors import ShootError, UsageError
from evenhand.shoot import history as past
from evenhand.shoot import store
from evenhand.shoot.document import Shoot
from evenhand.shoot.history import Change, Edit, Origin, Step


class Recorded(msgspec.Struct, frozen=True):
    """One command of the history; `undone` where it was taken back."""

    revisions: tuple[int, ...]
    time: str
    verb: str
    screen: str
    edits: tuple[Edit, ...]
    undone: bool = False


class Walked(msgspec.Struct, frozen=True):
    """What undo or redo did: the steps, the latest first, and the revision that came of it."""

    steps: tuple[Recorded, ...]
    revision: int


def history(folder: Path, name: str | None = None) -> tuple[Recorded, ...]:
    """The commands that decided something, the oldest first; those about one clip where named."""
    shoot = store.load(folder)
    clip = shoot.clip(name).id if name is not None else None
    done, undone = past.steps(past.read(folder, shoot.revision))
    told = [_recorded(step, step in undone, clip) for step in (*done, *undone)]
    return tuple(sorted((one for one in told if one.edits), key=lambda one: one.revisions))


def undo(folder: Path, to: int | None = None, by: Origin | None = None) -> Walked:
    """Take back the latest command, or all that came after the revision `to`.

    Raises UsageError where there is nothing to take back.
    """
    return _walk(folder, by or Origin("undo"), forward=False, to=to)


def redo(folder: Path, by: Origin | None = None) -> Walked:
    """Do again what was undone last. Raises UsageError where there is nothing."""
    return _walk(folder, by or Origin("redo"), forward=True)


def _walk(folder: Path, by: Origin, *, forward: bool, to: int | None = None) -> Walked:
    walked: list[Step] = []

    def edit(shoot: Shoot) -> Shoot:
        done, undone = past.steps(past.read(folder, shoot.revision))
        walked[:] = _wanted(undone if forward else done, to, shoot.revision)
        for step in walked:
            shoot = _edited(folder, shoot, step.forward() if forward else step.inverse())
        return shoot

    def revisions() -> tuple[int, ...]:
        return tuple(sorted(r for step in walked for r in step.revisions))

    kind = "redoes" if forward else "undoes"
    shoot = store.change(folder, by, edit, noted=lambda: {kind: revisions()})
    return Walked(tuple(_recorded(step, not forward, None) for step in walked), shoot.revision)


def _wanted(steps: Sequence[Step], to: int | None, now: int) -> list[Step]:
    """The steps to walk, the latest first."""
    if to is None:
        found = list(steps[-1:])
    elif not 0 <= to <= now:
        raise UsageError("--to", f"there is no revision {to}", f"Write 0 to {now}")
    else:
        found = [step for step in reversed(steps) if step.revisions[0] > to]
    if not found:
        raise UsageError("history", "there is nothing to walk", "See: evenhand history")
    return found


def _edited(folder: Path, shoot: Shoot, edits: Sequence[Edit]) -> Shoot:
    try:
        return store.edited(shoot, edits)
    except ValueError as error:
        raise ShootError(
            folder / store.DOCUMENT,
            f"{error} was changed by other hands since",
            "Set it with its own verb; `evenhand history` shows what was decided",
        ) from error


def _recorded(step: Step, undone: bool, clip: str | None) -> Recorded:
    first: Change = step.changes[0]
    edits = [e for e in step.forward() if clip is None or clip in e.at or _holds(e, clip)]
    return Recorded(
        step.revisions, first.time, first.by.verb, first.by.screen, tuple(edits), undone
    )


def _holds(edit: Edit, clip: str) -> bool:
    """Whether an edit of a place is about a clip that joins or leaves it."""
    return edit.at[0] == "places" and clip in str(edit.before) + str(edit.after)
