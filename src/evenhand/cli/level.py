"""`evenhand level`: exposure and white from measurements."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import At, json_option, seconds, shoot_option
from evenhand.errors import ShootError

if TYPE_CHECKING:
    from evenhand.jobs.level import GreyPoint, LevelResult
    from evenhand.measure.decisions import LevelDecision


@click.command(epilog="Example: evenhand level --reference A007 --grey A010@1s,0.45,0.60")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option("--reference", "references", multiple=True, metavar="CLIP", help="Match to this one.")
@click.option("--setup", metavar="NAME", help="Put the CLIPs named into a setup of this name.")
@click.option(
    "--grey",
    "greys",
    multiple=True,
    metavar="CLIP@TIME,X,Y",
    help="A grey card: fractions of the picture from the top left.",
)
@click.option("--dry-run", is_flag=True, help="Show what would be decided; change nothing.")
@click.option("--explain", metavar="CLIP", help="Show a decision with all its numbers.")
@shoot_option
@json_option
def command(
    clips: tuple[str, ...],
    references: tuple[str, ...],
    setup: str | None,
    greys: tuple[str, ...],
    dry_run: bool,
    explain: str | None,
    shoot_dir: Path | None,
    as_json: bool,
) -> None:
    """Match the clips of each setup to its reference clip, by what their views share.

    A clip that shares no view with the others is left alone, with a proposal.
    """
    from evenhand.cli import show
    from evenhand.jobs.level import LevelOptions, level
    from evenhand.shoot import store

    folder = store.shoot_folder(shoot_dir, Path.cwd())
    if explain is not None:
        _explain(folder, explain, as_json)
        return
    if clips and setup is None:
        raise click.UsageError("CLIPs are named only together with --setup NAME.")
    points = tuple(_grey_point(folder, grey) for grey in greys)
    options = LevelOptions(references, setup, clips, points, dry_run)
    with show.progress() as progress:
        result = level(folder, options, progress)
    if as_json:
        show.json_out(result)
    else:
        show_levels(result)


def _grey_point(folder: Path, text: str) -> GreyPoint:
    from fractions import Fraction

    from evenhand.jobs.level import GreyPoint
    from evenhand.jobs.originals import original_and_facts
    from evenhand.shoot import store

    form = "write CLIP@TIME,X,Y, such as A010@1s,0.45,0.60"
    clip, at, rest = text.rpartition("@")
    parts = rest.split(",")
    if not at or not clip or len(parts) != 3:
        raise click.BadParameter(f"{form}, not {text!r}.", param_hint="--grey")
    try:
        x, y = float(parts[1]), float(parts[2])
    except ValueError as error:
        raise click.BadParameter(f"{form}, not {text!r}.", param_hint="--grey") from error
    time = At().convert(parts[0], None, None)
    shoot = store.load(folder)
    _, facts = original_and_facts(folder, shoot, shoot.clip(clip))
    return GreyPoint(clip, seconds(time, Fraction(facts.rate)), x, y)


def _explain(folder: Path, name: str, as_json: bool) -> None:
    from evenhand.cli import show
    from evenhand.shoot import store

    decision = store.load(folder).clip(name).decision
    if decision is None:
        raise ShootError(name, "it has not been levelled", "Run: evenhand level")
    if as_json:
        show.json_out(decision)
        return
    show.line(f"{decision.clip}, {decision.setup}, reference {decision.reference}")
    show.line(f"  {decision.status}: {correction(decision)}")
    show.line(f"  why: {decision.why}")
    show.line(f"  confidence: {show.percent(decision.confidence)}")
    match = decision.match
    if match is not None and match.inliers:
        show.line(
            f"  the match: {match.inliers} points agree ({show.percent(match.inlier_ratio)} of "
            f"those alike), {show.percent(match.coverage)} of the picture measured, "
            f"spread {match.spread:.3f} stop, support {show.percent(match.support)}"
        )
    if decision.proposal is not None:
        p = decision.proposal
        show.line(
            f"  proposal: white {p.white.kelvin:.0f} K, Duv {p.white.duv:+.4f} "
            f"(typical error {p.mired_error:.0f} mired, one in ten {p.mired_worst:.0f}); {p.why}"
        )
        show.line(f"  {p.exposure}")
    if decision.would_change:
        show.line(f"  what would change it: {decision.would_change}")


def correction(decision: LevelDecision) -> str:
    """What levelling does to a clip, in a few words."""
    parts = [f"{decision.stops:+.2f} stop"] if decision.stops else []
    if decision.white is not None:
        white = decision.white
        parts.append(f"white {white.kelvin:.0f} K, Duv {white.duv:+.4f}")
    return "; ".join(parts) or "untouched"


def show_levels(result: LevelResult) -> None:
    """Setups and decisions as a table; proposals below it."""
    from evenhand.cli import show

    rows = []
    for d in result.decisions:
        sure = show.percent(d.confidence) if d.status != "left alone" else ""
        rows.append([d.setup, d.clip, d.status, correction(d), sure, d.why])
    show.table(["setup", "clip", "", "correction", "sure", "why"], rows, right=(4,))
    for even in result.evenness:
        if even.before and even.after:
            show.line(
                f"{even.setup}: worst distance from {even.reference} "
                f"{even.before.worst_stops:.2f} stop, {even.before.worst_mired:.1f} mired before; "
                f"{even.after.worst_stops:.3f} stop, {even.after.worst_mired:.1f} mired after"
            )
    for clip in result.left_out:
        show.note(f"left out: {clip}: its encoding is not settled")
    if not result.saved:
        show.note("dry run: nothing was changed")
