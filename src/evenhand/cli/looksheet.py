"""`evenhand look sheet` and `look wall`: looks side by side, to choose by eye."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import (
    At,
    Strength,
    json_option,
    overwrite_option,
    seconds,
    shoot_option,
)
from evenhand.wording import figures

if TYPE_CHECKING:
    from fractions import Fraction

    from evenhand.jobs.picture import Timed


@click.command("sheet", epilog="Example: evenhand look sheet rye soot --strength 70% --to sheets")
@click.argument("names", nargs=-1, metavar="[LOOK…]")
@click.option(
    "--strength",
    "strengths",
    type=Strength(),
    multiple=True,
    default=(1.0,),
    metavar="70%",
    help="At which strength; again for more (default: 100%).",
)
@click.option(
    "--clip",
    "clips",
    multiple=True,
    metavar="CLIP@3s",
    help="A clip of the shoot, levelled, beside the scenes; its first frame if no time is said.",
)
@click.option(
    "--to", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Where to write."
)
@click.option(
    "--format",
    "kinds",
    type=click.Choice(["html", "png", "pdf"]),
    multiple=True,
    default=("html", "png", "pdf"),
    metavar="FORMAT",
    help="html, png or pdf; again for more (default: all three).",
)
@overwrite_option
@shoot_option
@json_option
def sheet(
    names: tuple[str, ...],
    strengths: tuple[float, ...],
    clips: tuple[str, ...],
    to: Path,
    kinds: tuple[str, ...],
    overwrite: bool,
    shoot_dir: Path | None,
    as_json: bool,
) -> None:
    """Show looks on the same pictures: four scenes, your clips, ramps, skins and a chart.

    LOOK is a name of `look list`, or a file; without one all that come with evenhand are shown.
    """
    from evenhand.cli import show
    from evenhand.jobs.looksheet import SheetWishes, write_sheet
    from evenhand.shoot.store import shoot_folder

    wishes = SheetWishes(
        strengths=strengths,
        clips=tuple(_clip_at(text) for text in clips),
        kinds=tuple(dict.fromkeys(kinds)),
        overwrite=overwrite,
    )
    folder = shoot_folder(shoot_dir, Path.cwd()) if clips else None
    with show.progress(quiet=as_json) as progress:
        made = write_sheet(names, to, wishes, folder, progress)
    if as_json:
        show.json_out(made)
        return
    rows = [[k.look, figures.strength(k.strength), k.words] for k in made.looks]
    show.table(["look", "strength", "health"], rows, right=(1,))
    for file in made.files:
        show.line(f"sheet: {file}")


@click.command("wall", epilog="Example: evenhand look wall A002 --at 3s --to wall.html")
@click.argument("clip", metavar="CLIP")
@click.option(
    "--at",
    type=At(),
    default="0s",
    metavar="3s",
    help="When: 3s, 75f or a timecode from the first frame (default: 0s).",
)
@click.option(
    "--strength", type=Strength(), default=1.0, metavar="70%", help="Of all looks (default: 100%)."
)
@click.option(
    "--to",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The page or picture to write; its name ends in .html or .png.",
)
@overwrite_option
@shoot_option
@json_option
def wall(
    clip: str,
    at: str,
    strength: float,
    to: Path,
    overwrite: bool,
    shoot_dir: Path | None,
    as_json: bool,
) -> None:
    """Show one frame of a clip under every look, at one strength, to choose by eye."""
    from evenhand.cli import show
    from evenhand.jobs.lookwall import write_wall
    from evenhand.shoot.store import shoot_folder

    folder = shoot_folder(shoot_dir, Path.cwd())
    with show.progress(quiet=as_json) as progress:
        made = write_wall(
            folder,
            (clip, functools.partial(_seconds, at)),
            to,
            strength=strength,
            overwrite=overwrite,
            progress=progress,
        )
    if as_json:
        show.json_out(made)
        return
    show.line(f"wall: {made.path} ({len(made.looks)} looks on {made.clip})")
    show.line("To use one:")
    for command in made.commands:
        show.line(f"  {command}")


def _seconds(text: str, rate: Fraction) -> Fraction:
    return seconds(text, rate)


def _clip_at(text: str) -> tuple[str, Timed]:
    """`CLIP` or `CLIP@3s`."""
    clip, sign, time = text.rpartition("@")
    if not sign:
        return text, functools.partial(_seconds, "0s")
    return clip, functools.partial(_seconds, At().convert(time, None, None))
