"""Options that several verbs of looks share."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from evenhand.luts.declared import Declared


def declaring(command: Callable[..., None]) -> Callable[..., None]:
    """The options by which a person says what a look file is made for."""
    for option in (
        click.option(
            "--correction", metavar="ID", help="Of a collection of CDLs: the one with this id."
        ),
        click.option(
            "--gives", metavar="SPACE", help="What a look file gives; the same if not said."
        ),
        click.option(
            "--space", metavar="SPACE", help="What a look file expects: bt709-display, acescct, …"
        ),
    ):
        command = option(command)
    return command


def declared_as(space: str | None, gives: str | None) -> Declared | None:
    """What a person said of a file, None if nothing; a usage error for one without the other."""
    from evenhand.luts.declared import Declared

    if space is None and gives is not None:
        raise click.UsageError("--gives goes with --space: write both")
    return None if space is None else Declared(space, gives or space)
