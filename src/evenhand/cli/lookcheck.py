"""`evenhand look check`: what a look does to tones, hues and skins, with a verdict on each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.lookoptions import declared_as, declaring
from evenhand.cli.options import Strength, json_option, overwrite_option
from evenhand.wording.figures import strength

if TYPE_CHECKING:
    from evenhand.jobs.lookcheck import Checkup
    from evenhand.measure.looks.health import Health

_SIGN = {"pass": "○", "warn": "△", "fail": "✕"}
_SAID = {"pass": "passes", "warn": "look at it", "fail": "fails"}


@click.command("check", epilog="Example: evenhand look check bought.cube --to checks")
@click.argument("name", metavar="LOOK")
@click.option(
    "--strength",
    "strengths",
    type=Strength(),
    multiple=True,
    metavar="70%",
    help="At which strength; again for more (default: 50%, 70% and 100%).",
)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write a page with curves, hues, skins and ramps there.",
)
@declaring
@overwrite_option
@json_option
def command(
    name: str,
    strengths: tuple[float, ...],
    to: Path | None,
    space: str | None,
    gives: str | None,
    correction: str | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Measure what a look does, and say what is wrong with it and what to do.

    LOOK is a name of `look list`, or a file. The exit status is 1 where a test fails, or where the
    look is declared for another signal than its values are made for.
    """
    from evenhand.cli import show
    from evenhand.jobs.lookcheck import check_named

    checked = check_named(
        name,
        declared_as(space, gives),
        correction,
        strengths=strengths,
        to=to,
        overwrite=overwrite,
    )
    if as_json:
        show.json_out(checked)
    else:
        _tell(checked)
    if checked.fails:
        raise click.exceptions.Exit(1)


def _tell(checked: Checkup) -> None:
    from evenhand.cli import show
    from evenhand.cli.look import tell_placing

    tell_health(checked.health)
    tell_placing(checked.facts)
    if checked.page is not None:
        show.line(f"page: {checked.page}")


def tell_health(health: Health) -> None:
    """The table of measures at each strength, then what is not passed and what to do."""
    from evenhand.cli import show
    from evenhand.measure.looks.limits import LIMITS, NEUTRAL_CAST

    rows = []
    for measure in health.strengths[-1].measures:
        neutral = measure.key == "cast" and health.neutral
        limit = NEUTRAL_CAST if neutral else LIMITS[measure.key]
        found = {m.key: m for part in health.strengths for m in part.measures}
        figures = [
            f"{m.value:.{limit.digits}f}"
            for part in health.strengths
            for m in part.measures
            if m.key == measure.key
        ]
        side = "under" if limit.below else "over"
        allowed = "" if limit.warn is None else f"{side} {limit.warn:g}, {limit.fail:g}"
        verdict = f"{_SIGN[measure.verdict]} {_SAID[measure.verdict]}" if allowed else ""
        name = f"{found[measure.key].name}, {measure.unit}"
        rows.append([name, *figures, allowed, verdict, measure.words])
    strengths = [strength(part.strength) for part in health.strengths]
    right = tuple(range(1, 1 + len(strengths)))
    spare = (1 + len(strengths),)
    show.table(
        ["measure", *strengths, "fault", "verdict", "what it means"],
        rows,
        right=right,
        spare=spare,
    )
    tell_faults(health)


def tell_faults(health: Health) -> None:
    """What is not passed at the greatest strength, each with its remedy; then the verdict."""
    from evenhand.cli import show

    full = health.strengths[-1]
    for measure in full.faults:
        fine = [
            part.strength
            for part in health.strengths
            for m in part.measures
            if m.key == measure.key and m.verdict == "pass"
        ]
        passes = f" At {strength(max(fine))} it passes." if fine else ""
        remedy = f"{measure.remedy[:1].upper()}{measure.remedy[1:]}."
        show.paragraph(
            f"{_SIGN[measure.verdict]} {measure.name}: {measure.words}. {remedy}{passes}", ""
        )
    each = ", ".join(
        f"{strength(part.strength)} {_SAID[part.verdict]}" for part in health.strengths
    )
    show.line(f"{health.look}: {each}")
