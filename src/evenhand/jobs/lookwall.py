"""A wall of looks: one frame of a clip under every look, to choose by eye."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.atomic import write_whole
from evenhand.drawing.lookmodel import Tile, WallModel, verdict_words
from evenhand.drawing.lookwall import wall_html
from evenhand.drawing.picture import picture_jpeg
from evenhand.drawing.sheetpages import wall_page
from evenhand.drawing.sheetpicture import page_png
from evenhand.errors import UsageError
from evenhand.grade.document import LookUse
from evenhand.grade.exact import Look
from evenhand.jobs.look import LookLine, list_looks
from evenhand.jobs.looks import FoundLook, ShootLooks, find_look
from evenhand.jobs.looksheet import title_of
from evenhand.jobs.lookviews import LONGEST, View, clip_view, ready
from evenhand.jobs.picture import Timed
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.media.target import check_target
from evenhand.shoot import store


class Wall(msgspec.Struct, frozen=True):
    """A wall that was written, and the looks on it with what puts each on the clip."""

    clip: str
    path: str
    looks: tuple[str, ...]
    commands: tuple[str, ...]


def write_wall(
    folder: Path,
    moment: tuple[str, Timed],
    to: Path,
    *,
    strength: float = 1.0,
    overwrite: bool = False,
    progress: Progress = silent,
) -> Wall:
    """Write a wall of all looks that evenhand brings and the shoot keeps, as .html or .png.

    `moment` is a clip and a time in it.

    Raises UsageError for another suffix and for what `still` refuses, TargetError where the place
    cannot take it.
    """
    if to.suffix.lower() not in (".html", ".png"):
        raise UsageError(to, "a wall is HTML or PNG", "End the name with .html or .png")
    check_target(to, overwrite=overwrite)
    view = clip_view(folder, *moment)
    model = look_wall(view, _all_looks(folder), strength, progress)
    data = wall_html(model).encode() if to.suffix.lower() == ".html" else page_png(wall_page(model))
    write_whole(to, data)
    commands = tuple(tile.command for tile in model.tiles)
    return Wall(view.name, str(to), tuple(tile.name for tile in model.tiles), commands)


def look_wall(
    view: View, looks: Sequence[FoundLook], strength: float, progress: Progress = silent
) -> WallModel:
    """Everything that a wall shows of a clip's frame."""
    tiles = []
    for number, found in enumerate(looks, 1):
        look = ready(found, (strength,))
        part = look.health.at(strength)
        named = str(found.path) if found.path else found.name
        order = ["evenhand", "look", "use", named, view.name, "--strength", f"{100 * strength:g}%"]
        if found.file is not None:
            order += ["--space", found.look.space]
        tiles.append(
            Tile(
                name=found.name,
                title=title_of(found),
                purpose=str(getattr(found.look, "purpose", "")),
                picture=picture_jpeg(look.on(view, strength), LONGEST),
                verdict=part.verdict,
                words=verdict_words(part),
                command=shlex.join(order),
            )
        )
        progress(Step("wall", found.name, number, len(looks), 1, 1))
    before = picture_jpeg(view.shown, LONGEST)
    return WallModel(view.name, view.alt.rpartition(" at ")[2], strength, before, tuple(tiles))


def _all_looks(folder: Path) -> list[FoundLook]:
    """Those that evenhand brings, then the shoot's own copies of files."""
    shoot = store.load(folder)
    copies = ShootLooks(folder, shoot)
    shipped = [find_look(line.name) for line in list_looks()]
    return shipped + [
        _kept(line, copies(LookUse(line.name, 1.0, line.digest)))
        for line in list_looks(folder)
        if line.file is not None
    ]


def _kept(line: LookLine, look: Look) -> FoundLook:
    return FoundLook(line.name, look, line.digest, b"", Path(line.file or line.name))
