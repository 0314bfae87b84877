"""`evenhand leave-out` and `evenhand forget`: decisions that need nothing measured."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, shoot_option

if TYPE_CHECKING:
    from evenhand.shoot.forgetting import Word

WORDS = [
    "encoding", "place", "reference", "grey-card", "refusal", "adjustment", "look", "left-out",
    "wishes",
]  # fmt: skip


@click.command(epilog="Example: evenhand leave-out A007")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option("--take-back", is_flag=True, help="Master these clips again.")
@shoot_option
@json_option
def leave_out(
    clips: tuple[str, ...], take_back: bool, shoot_dir: Path | None, as_json: bool
) -> None:
    """Leave clips out of masters, or take them back; shows which are left out."""
    from evenhand.cli import show
    from evenhand.jobs import decide
    from evenhand.shoot.store import shoot_folder

    left = decide.leave_out(shoot_folder(shoot_dir, Path.cwd()), clips, not take_back)
    if as_json:
        show.json_out([clip.id for clip in left])
    else:
        show.line(f"left out of masters: {', '.join(clip.id for clip in left) or 'none'}")


@click.command(epilog="Example: evenhand forget adjustment look --clip A007")
@click.argument("words", nargs=-1, required=True, type=click.Choice(WORDS), metavar="WHAT…")
@click.option(
    "--clip", "clips", multiple=True, metavar="CLIP", help="Of this clip (default: of all)."
)
@shoot_option
@json_option
def forget(
    words: tuple[Word, ...], clips: tuple[str, ...], shoot_dir: Path | None, as_json: bool
) -> None:
    """Take back what you said; what is measured counts again with the next scan or level.

    WHAT is encoding, place, reference, grey-card, refusal (of a chart or grey card), adjustment,
    look, left-out, or wishes (charts, drift and warmth, for the shoot as a whole).
    """
    from evenhand.cli import show
    from evenhand.jobs import decide
    from evenhand.shoot.store import shoot_folder

    count = decide.forget(shoot_folder(shoot_dir, Path.cwd()), words, clips)
    if as_json:
        show.json_out({"forgotten": count})
    else:
        show.line(f"{count} decisions are forgotten" if count else "nothing was said of that")
