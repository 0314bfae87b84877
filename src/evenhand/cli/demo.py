"""`evenhand demo`: make the demo card and run the whole job on it."""

from __future__ import annotations

import time
from pathlib import Path

import click

from evenhand.cli.options import Strength, json_option, quality_option

SIZES = {"720": (1280, 720), "1080": (1920, 1080), "2160": (3840, 2160)}
SPECS = {"720": "web-720", "1080": "web-hd", "2160": "web-uhd"}


@click.command(epilog="Example: evenhand demo first-bread --size 1080")
@click.argument("folder", default="first-bread", type=click.Path(path_type=Path), metavar="[DIR]")
@click.option(
    "--size",
    type=click.Choice(list(SIZES)),
    default="1080",
    metavar="LINES",
    help="Lines of the picture: 720, 1080 (default) or 2160.",
)
@click.option(
    "--look", default="oven-light", metavar="LOOK", help="A look by name (default: oven-light)."
)
@click.option(
    "--strength",
    type=Strength(),
    default=0.7,
    metavar="70%",
    help="From 0% to 100% (default: 70%).",
)
@quality_option
@json_option
def command(
    folder: Path, size: str, look: str, strength: float, quality: str | None, as_json: bool
) -> int:
    """Make the card of an invented documentary, then run the whole job on it.

    "First Bread" is one night and morning at Aldersyke Bakery: twelve clips in four places, each
    with a fault that is known, so that the report can say how well they were levelled.
    """
    from evenhand.cli import show
    from evenhand.cli.run import Order, whole_job
    from evenhand.jobs.looks import find_look
    from evenhand.media.target import made_folder
    from first_bread.card import make_card

    began = time.monotonic()
    find_look(look)
    card = folder / "card"
    made_folder(folder)
    with show.progress() as progress:
        truth = make_card(card, SIZES[size], progress=show.shares("card", progress))
    say = show.note if as_json else show.line
    say(f"card: {card} (made in {show.duration(time.monotonic() - began)})")
    order = Order(
        card=card,
        shoot=folder / "first-bread.shoot",
        to=folder / "masters",
        look=look,
        strength=strength,
        specs=(SPECS[size],),
        quality=quality,
        truth=truth,
    )
    return whole_job(order, as_json)
