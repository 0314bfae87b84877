"""`evenhand run`: the whole job, from a card to checked masters and a report."""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenhand.cli.options import (
    Strength,
    chart_option,
    damaged_option,
    json_option,
    new_shoot_option,
    overwrite_option,
    pair,
    quality_option,
    steadying_option,
    warmth_option,
)

if TYPE_CHECKING:
    from evenhand.jobs.identify import ScanResult
    from evenhand.shoot.history import Origin


@dataclass(frozen=True, slots=True)
class Order:
    """What a person asks of the whole job."""

    card: Path
    shoot: Path
    to: Path
    look: str | None
    strength: float
    specs: tuple[str, ...] = ()
    quality: str | None = None
    encodings: tuple[tuple[str, str], ...] = ()
    allow_damaged: bool = False
    overwrite: bool = False
    use_charts: bool | None = None
    steady: bool | None = None
    keep_warmth: float | None = None
    truth: Path | None = None
    replace: bool = False


@click.command(
    epilog="Example: evenhand run /media/card --look oven-light --strength 70% --to masters"
)
@click.argument("card", type=click.Path(path_type=Path), metavar="CARD")
@click.option(
    "--look",
    metavar="LOOK",
    help="A look by name, as `evenhand look list` shows them (default: as it is now).",
)
@click.option(
    "--strength", type=Strength(), default=1.0, metavar="70%", help="From 0% to 100% (default)."
)
@click.option(
    "--replace", is_flag=True, help="Put the look on clips too that another was chosen for since."
)
@click.option(
    "--to",
    required=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The folder for the masters; it is made where it is missing.",
)
@click.option(
    "--spec",
    "specs",
    multiple=True,
    metavar="SPEC",
    help="Master spec, may be repeated (default: web-uhd, or web-hd for smaller clips).",
)
@quality_option
@click.option(
    "--encoding",
    "encodings",
    multiple=True,
    metavar="CLIP=NAME",
    help="What a clip is, where the evidence leaves it open; *=NAME for all such clips.",
)
@chart_option
@steadying_option
@warmth_option
@damaged_option
@overwrite_option
@new_shoot_option
@json_option
def command(
    card: Path,
    encodings: tuple[str, ...],
    shoot_dir: Path | None,
    as_json: bool,
    **asked: Any,
) -> int:
    """The whole job: scan, level, look, masters, checks, report.

    A clip whose encoding is not settled is left out and asked about; the others go on. The same
    command goes on where it stopped.
    """
    from evenhand.cli.scan import shoot_of

    if asked["look"] is None and asked["strength"] != 1.0:
        raise click.UsageError("--strength is that of a look: name one with --look LOOK.")
    said = tuple(pair(text, "--encoding", "CLIP=NAME") for text in encodings)
    order = Order(card=card, shoot=shoot_of(card, shoot_dir), encodings=said, **asked)
    return whole_job(order, as_json)


def whole_job(order: Order, as_json: bool = False) -> int:
    """Every step in turn, each shown as it is done; exit status 1 if anything was left undone."""
    from evenhand.cli import show
    from evenhand.cli.levelled import show_levels
    from evenhand.cli.master import show_masters
    from evenhand.cli.scan import show_findings
    from evenhand.jobs.identify import scan
    from evenhand.jobs.level import LevelOptions, level
    from evenhand.jobs.master import MasterOptions, master
    from evenhand.jobs.report import report
    from evenhand.media.spec import load_spec
    from evenhand.shoot.history import Origin

    began, by = time.monotonic(), Origin("run")
    _check_early(order)
    with show.progress() as progress:
        found = scan(order.card, order.shoot, dict(order.encodings), progress, by)
    specs = order.specs or (_default_spec(found),)
    for spec in specs:
        load_spec(spec).level(order.quality)
    if not as_json:
        show_findings(found)
    with show.progress() as progress:
        wishes = LevelOptions(
            keep_warmth=order.keep_warmth, use_charts=order.use_charts, steady=order.steady
        )
        levelled = level(order.shoot, wishes, progress, by)
    if not as_json:
        show_levels(levelled)
    if order.look is not None:  # else what was chosen before stays
        _use_look(order, by)
    options = MasterOptions(
        specs, order.to, (), order.quality, order.allow_damaged, order.overwrite
    )
    with show.progress() as progress:
        mastered = master(order.shoot, options, progress, by)
        page = report(order.shoot, None, order.truth, progress)
    if as_json:
        show.json_out({"scan": found, "level": levelled, "masters": mastered, "report": page})
    else:
        show_masters(mastered)
        show.line(f"masters: {mastered.folder}")
        show.line(f"report:  {page.path}")
        show.line(f"done in {show.duration(time.monotonic() - began)}")
    done = all(f.settled for f in found.findings) and not (mastered.undone or levelled.failures)
    return 0 if done else 1


def _use_look(order: Order, by: Origin) -> None:
    """Put the look on all clips but those that a person chose one for since; these are named."""
    from evenhand.cli import show
    from evenhand.jobs.look import LookOptions, chosen_by_person, use_look
    from evenhand.jobs.looks import find_look

    assert order.look is not None
    keep = () if order.replace else chosen_by_person(order.shoot)
    use_look(order.shoot, find_look(order.look), LookOptions(order.strength, keep=keep), by)
    if keep:
        show.note(f"kept the look that was chosen for {', '.join(keep)}; --replace replaces it")


def _check_early(order: Order) -> None:
    """Refuse what would be refused later, before any work is done."""
    from evenhand.jobs.looks import find_look
    from evenhand.media.spec import load_spec
    from evenhand.media.target import made_folder

    if order.look is not None:
        find_look(order.look)
    for spec in order.specs:
        load_spec(spec).level(order.quality)
    if not order.card.is_dir():
        return  # the scan says what is wrong with it
    made_folder(order.to)


def _default_spec(found: ScanResult) -> str:
    """UHD where any clip has as many lines, HD otherwise."""
    lines = [min(f.facts.shown_size) for f in found.findings if f.facts is not None]
    return "web-uhd" if max(lines, default=0) >= 2160 else "web-hd"
