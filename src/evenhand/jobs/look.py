"""Using a look on clips, and listing what there is."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from evenhand.errors import LookMisplacedError, UsageError
from evenhand.grade.document import LookUse
from evenhand.grade.looks import LOOKS
from evenhand.grade.recipe import Recipe
from evenhand.grade.spaces import gives_of
from evenhand.jobs.looks import (
    FoundLook,
    ShootLooks,
    find_look,
    keep_look,
    look_notices,
)
from evenhand.luts.declared import Declared
from evenhand.shoot import history, store
from evenhand.shoot.document import ClipEntry, LookEntry, Shoot
from evenhand.shoot.history import Origin

if TYPE_CHECKING:
    from evenhand.grade.exact import Look
    from evenhand.measure.looks.kind import LookKind
    from evenhand.measure.looks.place import Placing


class LookLine(msgspec.Struct, frozen=True):
    """One look as a person reads it; `file` is where it came from, None if evenhand brings it."""

    name: str
    title: str
    purpose: str
    space: str
    moves: tuple[str, ...]
    gives: str = ""
    file: str | None = None
    digest: str = ""
    clips: tuple[str, ...] = ()


class LookFacts(msgspec.Struct, frozen=True, kw_only=True):
    """A look and what its values say that it is.

    `declared_by` says where its space is known from: the file, a person, a document; "nobody" means
    that the BT.709 display was assumed. `placing` holds the declaration against the table.
    """

    look: LookLine
    kind: LookKind
    placing: Placing
    declared_by: str
    corrections: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class LookUsed(msgspec.Struct, frozen=True):
    """The clips that a look was put on, and what a person should know of it."""

    clips: tuple[ClipEntry, ...]
    look: LookFacts | None
    notices: tuple[str, ...] = ()


def list_looks(folder: Path | None = None) -> tuple[LookLine, ...]:
    """Every look that comes with evenhand, and the files that the shoot in `folder` keeps."""
    shipped = [_line(name, look) for name, look in LOOKS.items()]
    if folder is None:
        return tuple(shipped)
    shoot = store.load(folder)
    find = ShootLooks(folder, shoot)
    kept = [_kept_line(shoot, e, find) for e in shoot.looks if e.source is not None]
    return (
        *(msgspec.structs.replace(line, clips=_clips(shoot, line.name, None)) for line in shipped),
        *kept,
    )


def show_look(
    name: str, declared: Declared | None = None, correction: str | None = None
) -> LookFacts:
    """What a look is: its moves, its spaces, and what its values say of both.

    Raises UsageError for a name that is no look, LookFileError for a file that cannot be read.
    """
    return facts_of(find_look(name, declared, correction), declared)


@dataclass(frozen=True, slots=True)
class LookOptions:
    """How a look is used: `strength` 0..1, on `clips` by name, or on all.

    `effects` asks for its halation and grain too, clips (ids) in `keep` stay as they are, and
    `declared` is what a person says of a file's spaces.
    """

    strength: float = 1.0
    clips: Sequence[str] = ()
    effects: bool = False
    keep: Collection[str] = ()
    declared: Declared | None = None


def use_look(
    folder: Path, found: FoundLook | None, options: LookOptions, by: Origin | None = None
) -> LookUsed:
    """Put a look on clips and save; None takes it off. The shoot keeps a copy of it.

    Raises UsageError
    for a clip that does not exist and for a look that was not made for the output transform of a
    clip, LookMisplacedError where its values say that it would land in the wrong place.
    """
    # Here, not above: a list of looks does not wait for OpenColorIO.
    from evenhand.grade.effects import effects_of
    from evenhand.grade.exact import exact_transform

    use, facts, entry = None, None, None
    if found is not None:
        facts = facts_of(found, options.declared)
        if facts.placing.verdict == "disagrees":
            raise LookMisplacedError(found.name, facts.placing.says, facts.placing.remedy)
        if options.effects and effects_of(found.look).are_none:
            raise UsageError(
                found.name, "it has neither halation nor grain", "Use it without --effects"
            )
        use = LookUse(found.name, options.strength, found.digest, options.effects)
        entry = keep_look(folder, found)

    def edit(shoot: Shoot) -> Shoot:
        shoot = _with_entry(shoot, entry) if entry is not None else shoot
        changed = [msgspec.structs.replace(clip, look=use) for clip in _chosen(shoot, options)]
        looks = ShootLooks(folder, shoot)
        for clip in changed:
            if use is not None and clip.encoding is not None:
                exact_transform(shoot.grade(clip), looks)  # refuses one for another display
        return _swept(shoot.with_clips(*changed))

    shoot = store.change(folder, by or Origin("look use"), edit)
    return LookUsed(tuple(_chosen(shoot, options)), facts, look_notices(shoot))


def chosen_by_person(folder: Path) -> tuple[str, ...]:
    """The clips (ids) whose look a person chose after `run` last put one on them."""
    shoot = store.load(folder)
    done, _ = history.steps(history.read(folder, shoot.revision))
    by = {
        edit.at[1]: change.by
        for step in done
        for change in step.changes
        for edit in change.edits
        if edit.at[0] == "clips" and edit.at[2:] == ("look",)
    }
    return tuple(c.id for c in shoot.clips if c.id in by and by[c.id].verb != "run")


def _chosen(shoot: Shoot, options: LookOptions) -> list[ClipEntry]:
    named = [shoot.clip(name) for name in options.clips]
    return [clip for clip in named or shoot.usable() if clip.id not in options.keep]


def _with_entry(shoot: Shoot, entry: LookEntry) -> Shoot:
    others = tuple(e for e in shoot.looks if e.digest != entry.digest)
    return msgspec.structs.replace(shoot, looks=(*others, entry))


def _swept(shoot: Shoot) -> Shoot:
    """Without entries of looks that no clip uses any more; their copies stay in the folder."""
    used = {clip.look.digest for clip in shoot.clips if clip.look is not None}
    return msgspec.structs.replace(
        shoot, looks=tuple(entry for entry in shoot.looks if entry.digest in used)
    )


def facts_of(found: FoundLook, declared: Declared | None) -> LookFacts:
    """What a look that was found is, and whether it is declared for what it does."""
    from evenhand.measure.looks.kind import look_kind
    from evenhand.measure.looks.place import Placing, check_declared

    file = found.file
    if file is None:
        by = "document"
    elif declared is not None:
        by = "person"
    else:
        by = "nobody" if file.declared is None else "file"
    kind = look_kind(found.look)
    line = _line(found.name, found.look, digest=found.digest)
    placing = check_declared(kind, line.space, line.gives)
    if by == "nobody" and placing.verdict == "disagrees":
        fits = f"It fits {', '.join(kind.logs)}: say which" if kind.logs else "Say"
        placing = Placing(
            placing.verdict,
            f"nobody says what it is made for, and its values say: {kind.says}",
            f"{fits} with --space NAME --gives {line.gives}",
        )
    return LookFacts(
        look=msgspec.structs.replace(line, file=str(found.path) if found.path else None),
        kind=kind,
        placing=placing,
        declared_by=by,
        corrections=file.corrections if file else (),
        warnings=file.warnings if file else (),
    )


def _line(name: str, look: Look, digest: str = "") -> LookLine:
    if isinstance(look, Recipe):
        return LookLine(
            name, look.title, look.purpose, look.space, look.moves, gives_of(look), None, digest
        )
    title = str(getattr(look, "title", "")) or name
    return LookLine(name, title, "", look.space, (), gives_of(look), None, digest)


def _kept_line(shoot: Shoot, entry: LookEntry, find: ShootLooks) -> LookLine:
    line = _line(entry.name, find(LookUse(entry.name, 1.0, entry.digest)), entry.digest)
    clips = _clips(shoot, entry.name, entry.digest)
    return msgspec.structs.replace(line, file=entry.source, clips=clips)


def _clips(shoot: Shoot, name: str, digest: str | None) -> tuple[str, ...]:
    ours = {e.digest for e in shoot.looks if e.source is None} | {""}
    return tuple(
        clip.id
        for clip in shoot.clips
        if clip.look is not None
        and clip.look.name == name
        and (clip.look.digest == digest if digest else clip.look.digest in ours)
    )
