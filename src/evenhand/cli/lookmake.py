"""`evenhand look make`: a look from a document, from a pair of stills, or towards a still."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, overwrite_option

if TYPE_CHECKING:
    from evenhand.jobs.lookmake import MadeLook

_FILE = click.Path(path_type=Path)
_WAYS = (
    "name one way: a document (look make DOCUMENT --to FILE.toml), a pair (--before STILL "
    "--after STILL --to FILE.cube) or a wish (--like STILL --picture STILL --to FILE.toml)"
)


@click.command(
    "make", epilog="Example: evenhand look make --before a.png --after b.png --to b.cube"
)
@click.argument("document", required=False, type=_FILE, metavar="[DOCUMENT]")
@click.option("--before", type=_FILE, metavar="STILL", help="A frame before the look.")
@click.option("--after", type=_FILE, metavar="STILL", help="The same frame after it.")
@click.option("--like", type=_FILE, metavar="STILL", help="A reference still to go towards.")
@click.option("--picture", type=_FILE, metavar="STILL", help="Your own picture, for --like.")
@click.option(
    "--to",
    required=True,
    type=_FILE,
    metavar="FILE",
    help="The look to write, and its name: .cube for a pair, else .toml.",
)
@overwrite_option
@json_option
def command(
    document: Path | None,
    before: Path | None,
    after: Path | None,
    like: Path | None,
    picture: Path | None,
    to: Path,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Make a look, and test its health.

    A document is checked and written in canonical form. A pair of stills, before and after, gives
    a table and says how well it fits. A reference still gives a document that goes half of the way
    towards its tones and palette, to be read and edited.
    """
    from evenhand.cli import show
    from evenhand.jobs import lookmake

    given = {
        "document": document is not None,
        "pair": before is not None or after is not None,
        "wish": like is not None or picture is not None,
    }
    if sum(given.values()) != 1:
        raise click.UsageError(_WAYS)
    if document is not None:
        made = lookmake.make_from_document(document, to, overwrite=overwrite)
    elif before is not None and after is not None:
        made = lookmake.make_from_pair(before, after, to.stem, to, overwrite=overwrite)
    elif like is not None and picture is not None:
        made = lookmake.make_from_still(picture, like, to.stem, to, overwrite=overwrite)
    else:
        raise click.UsageError(_WAYS)
    if as_json:
        show.json_out(made)
    else:
        _tell(made)


def _tell(made: MadeLook) -> None:
    from evenhand.cli import show
    from evenhand.cli.lookcheck import tell_faults

    show.line(f"{made.path}: {made.title}, a look of {made.kind} for {made.space}")
    for move in made.moves:
        show.paragraph(f"- {move}")
    for effect in made.effects:
        show.paragraph(f"- only where it is used with its effects: {effect}")
    if made.moved:
        show.line(f"the picture after was moved by {made.moved:.1f} pixels to lie on the other")
    if made.gaps:
        show.table(
            ["differs in", "before", "after"],
            [[gap.of, f"{gap.before:.3f}", f"{gap.after:.3f}"] for gap in made.gaps],
            right=(1, 2),
        )
    for warning in made.warnings:
        show.paragraph(f"Note: {warning}.", "")
    tell_faults(made.health)
