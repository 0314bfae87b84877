"""`evenhand history`, `undo` and `redo`: what was decided, and the way back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, shoot_option

if TYPE_CHECKING:
    from evenhand.jobs.history import Recorded, Walked

MOST = 6  # edits of one command that are shown; --json has them all


@click.command(epilog="Example: evenhand history A007")
@click.argument("clip", required=False, metavar="[CLIP]")
@click.option("--all", "every", is_flag=True, help="Show every value that a command changed.")
@shoot_option
@json_option
def history(clip: str | None, every: bool, shoot_dir: Path | None, as_json: bool) -> None:
    """What was decided, when, by which verb or screen, and what it was before."""
    from evenhand.cli import show
    from evenhand.jobs.history import history as recorded
    from evenhand.shoot.store import shoot_folder

    told = recorded(shoot_folder(shoot_dir, Path.cwd()), clip)
    if as_json:
        show.json_out(told)
        return
    for one in told:
        _show(one, every)
    if not told:
        show.line("nothing was decided yet")


@click.command(epilog="Example: evenhand undo --to 12")
@click.option(
    "--to",
    type=click.IntRange(min=0),
    metavar="N",
    help="Take back all that came after revision N, as `history` numbers them.",
)
@shoot_option
@json_option
def undo(to: int | None, shoot_dir: Path | None, as_json: bool) -> None:
    """Take back the latest command; `redo` does it again."""
    from evenhand.jobs.history import undo as undone
    from evenhand.shoot.store import shoot_folder

    _walked("undone", undone(shoot_folder(shoot_dir, Path.cwd()), to), as_json)


@click.command(epilog="Example: evenhand redo")
@shoot_option
@json_option
def redo(shoot_dir: Path | None, as_json: bool) -> None:
    """Do again what was undone last."""
    from evenhand.jobs.history import redo as redone
    from evenhand.shoot.store import shoot_folder

    _walked("done again", redone(shoot_folder(shoot_dir, Path.cwd())), as_json)


def _walked(word: str, walked: Walked, as_json: bool) -> None:
    from evenhand.cli import show

    if as_json:
        show.json_out(walked)
        return
    for one in walked.steps:
        _show(one, False, word)


def _show(one: Recorded, every: bool, word: str = "") -> None:
    """One command and what it changed."""
    from evenhand.cli import show
    from evenhand.wording.history import edit_words

    state = word or ("undone" if one.undone else "")
    screen = f" ({one.screen})" if one.screen else ""
    head = f"{one.revisions[-1]:>4}  {one.time}  {one.verb}{screen}"
    show.line(f"{head}  [{state}]" if state else head)
    shown = one.edits if every else one.edits[:MOST]
    for edit in shown:
        show.paragraph(edit_words(edit.at, edit.before, edit.after), indent="      ")
    if len(shown) < len(one.edits):
        show.paragraph(f"and {len(one.edits) - len(shown)} more (--all)", indent="      ")
