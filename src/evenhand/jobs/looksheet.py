"""A sheet of looks: each on the same pictures, at chosen strengths, with its health."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec

from evenhand.atomic import write_whole
from evenhand.drawing.lookmodel import Column, Row, SheetLook, SheetModel, verdict_words
from evenhand.drawing.looksheet import sheet_html
from evenhand.drawing.model import Picture
from evenhand.drawing.pdf import pdf_bytes
from evenhand.drawing.picture import picture_jpeg, picture_png
from evenhand.drawing.sheetpages import sheet_pages
from evenhand.drawing.sheetpicture import page_png
from evenhand.errors import UsageError
from evenhand.grade.spaces import DISPLAY, gives_of
from evenhand.jobs.look import facts_of, list_looks
from evenhand.jobs.looks import FoundLook, find_look
from evenhand.jobs.lookviews import (
    LONGEST,
    ReadyLook,
    Signal,
    View,
    clip_view,
    demo_views,
    made_views,
    ready,
)
from evenhand.jobs.picture import Timed
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.media.target import check_target, made_folder

FORMATS: Final = ("html", "png", "pdf")
_MOST: Final = 200


class SheetHealth(msgspec.Struct, frozen=True):
    """What a sheet says of one look at one strength."""

    look: str
    strength: float
    verdict: str
    words: str


class Sheet(msgspec.Struct, frozen=True):
    """A sheet that was written: its files, and the health on it."""

    files: tuple[str, ...]
    looks: tuple[SheetHealth, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetWishes:
    """How a sheet is to be: strengths 0..1, clips with a time in each, formats of its files."""

    strengths: tuple[float, ...] = (1.0,)
    clips: tuple[tuple[str, Timed], ...] = ()
    kinds: tuple[str, ...] = FORMATS
    overwrite: bool = False


def look_sheet(
    found: Sequence[FoundLook],
    strengths: Sequence[float] = (1.0,),
    clips: Sequence[View] = (),
    title: str = "Looks",
    progress: Progress = silent,
) -> SheetModel:
    """Everything that a sheet shows. UsageError for no look, or strengths outside 0..1."""
    if not found:
        raise UsageError("look sheet", "no look is named", "Name one or more")
    if len(found) > _MOST:
        raise UsageError("look sheet", f"{len(found)} looks are named", f"Name {_MOST} at most")
    rising = tuple(sorted(set(strengths)))
    scenes, cards = (*demo_views(), *clips), made_views()
    looks = []
    for number, each in enumerate(found, 1):
        progress(Step("sheet", each.name, number, len(found), 0, 1))
        looks.append(_sheet_look(ready(each, rising), rising, scenes, cards))
        progress(Step("sheet", each.name, number, len(found), 1, 1))
    return SheetModel(
        title=title,
        scenes=tuple(Column(v.name, v.alt, drawn(v, v.shown)) for v in scenes),
        cards=tuple(Column(v.name, v.alt, drawn(v, v.shown)) for v in cards),
        looks=tuple(looks),
        notes=tuple(note for each in found for note in _notes(each)),
    )


def sheet_file(model: SheetModel, kind: str) -> bytes:
    """The sheet as "html", "png" or "pdf"; the same model gives the same bytes."""
    makers: dict[str, Callable[[SheetModel], bytes]] = {
        "html": lambda m: sheet_html(m).encode(),
        "png": lambda m: page_png(sheet_pages(m, whole=True)[0]),
        "pdf": lambda m: pdf_bytes(sheet_pages(m), m.title),
    }
    return makers[kind](model)


def write_sheet(
    names: Sequence[str],
    to: Path,
    wishes: SheetWishes,
    folder: Path | None = None,
    progress: Progress = silent,
) -> Sheet:
    """Write a sheet of the looks named (all that evenhand brings, if none is) into folder `to`.

    `folder` is of the shoot that the clips are of. Raises UsageError for a name that is no look or
    no clip, LookFileError for a file that cannot be read, TargetError where the place cannot take
    it.
    """
    found = [find_look(name) for name in names or [line.name for line in list_looks()]]
    made_folder(to)
    targets = {kind: to / f"looks.{kind}" for kind in wishes.kinds}
    for target in targets.values():
        check_target(target, overwrite=wishes.overwrite)
    own = [] if folder is None else [clip_view(folder, clip, at) for clip, at in wishes.clips]
    model = look_sheet(found, wishes.strengths, own, _title(found), progress)
    for kind, target in targets.items():
        write_whole(target, sheet_file(model, kind))
    return Sheet(
        tuple(str(target) for target in targets.values()),
        tuple(
            SheetHealth(look.name, row.strength, row.verdict, row.words)
            for look in model.looks
            for row in look.rows
        ),
    )


def drawn(view: View, signal: Signal) -> Picture:
    """A picture of a view: made ones without loss, so that patches and ramps stay exact."""
    return picture_png(signal) if view.is_made else picture_jpeg(signal, LONGEST)


def expects(found: FoundLook) -> str:
    """What a look is made for, in a few words."""
    space, gives = found.look.space, gives_of(found.look)
    if space == gives == DISPLAY:
        return "for the BT.709 display"
    return f"for {space}" if space == gives else f"from {space} to {gives}"


def _notes(found: FoundLook) -> list[str]:
    """What a person should know of a look file before judging it by its pictures."""
    if found.file is None:
        return []
    facts = facts_of(found, None)
    notes = [f"{title_of(found)}: {warning}." for warning in facts.warnings]
    if facts.placing.verdict == "disagrees":
        notes.append(f"{title_of(found)}: {facts.placing.says}. {facts.placing.remedy}.")
    return notes


def _title(found: Sequence[FoundLook]) -> str:
    words = [
        "no",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
    ]
    if len(found) == 1:
        return title_of(found[0])
    return f"{words[len(found)].capitalize() if len(found) < len(words) else len(found)} looks"


def title_of(found: FoundLook) -> str:
    """The title that a look says it has, else its name."""
    return str(getattr(found.look, "title", "")) or found.name


def _sheet_look(
    look: ReadyLook, strengths: Sequence[float], scenes: Sequence[View], cards: Sequence[View]
) -> SheetLook:
    rows = tuple(
        Row(
            strength=strength,
            scenes=tuple(drawn(view, look.on(view, strength)) for view in scenes),
            cards=tuple(drawn(view, look.on(view, strength)) for view in cards),
            verdict=look.health.at(strength).verdict,
            words=verdict_words(look.health.at(strength)),
        )
        for strength in strengths
    )
    purpose = str(getattr(look.found.look, "purpose", ""))
    return SheetLook(look.found.name, title_of(look.found), purpose, expects(look.found), rows)
