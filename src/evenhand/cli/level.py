"""`evenhand level`: exposure and white from measurements."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import At, Strength, json_option, seconds, shoot_option
from evenhand.errors import ShootError

if TYPE_CHECKING:
    from evenhand.jobs.level import GreyPoint, LevelResult
    from evenhand.measure.decisions import LevelDecision

MEASURED = ("matched", "grey", "chart")  # decisions that come with a confidence


@click.command(epilog="Example: evenhand level --reference A007 --grey A010@1s,0.45,0.60")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option(
    "--reference",
    "references",
    multiple=True,
    metavar="CLIP",
    help="Match the clips of its setup to this one; may be repeated.",
)
@click.option("--setup", metavar="NAME", help="Put the CLIPs named into a setup of this name.")
@click.option(
    "--grey",
    "greys",
    multiple=True,
    metavar="CLIP@TIME,X,Y",
    help="A grey card to go by: X and Y are shares of width and height, from the top left.",
)
@click.option("--forget-grey", is_flag=True, help="Forget the grey cards pointed at before.")
@click.option("--no-chart", is_flag=True, help="Do not look for a 24-patch chart.")
@click.option(
    "--keep-warmth",
    type=Strength(),
    default=0.0,
    metavar="30%",
    help="Leave this share of the light's warmth in, where a chart or a grey card sets the white.",
)
@click.option("--dry-run", is_flag=True, help="Show what would be decided; change nothing.")
@click.option("--explain", metavar="CLIP", help="Show a clip's decision with all its numbers.")
@shoot_option
@json_option
def command(
    clips: tuple[str, ...],
    references: tuple[str, ...],
    setup: str | None,
    greys: tuple[str, ...],
    forget_grey: bool,
    no_chart: bool,
    keep_warmth: float,
    dry_run: bool,
    explain: str | None,
    shoot_dir: Path | None,
    as_json: bool,
) -> int:
    """Match the clips of each setup to its reference clip, by what their views share.

    A clip that shares no view with the others is left alone, with a proposal.
    """
    from evenhand.cli import show
    from evenhand.jobs.level import LevelOptions, level
    from evenhand.shoot import store

    others = (clips, references, setup, greys, forget_grey, no_chart, keep_warmth, dry_run)
    if explain is not None and any(others):
        raise click.UsageError("--explain shows what was decided; it takes no other option.")
    if clips and setup is None:
        raise click.UsageError("clips are named only together with --setup NAME.")
    if setup is not None and not clips:
        raise click.UsageError("--setup names no clip: write --setup NAME CLIP…")
    folder = store.shoot_folder(shoot_dir, Path.cwd())
    if explain is not None:
        _explain(folder, explain, as_json)
        return 0
    points = tuple(_grey_point(folder, grey) for grey in greys)
    options = LevelOptions(
        references, setup, clips, points, dry_run, not no_chart, keep_warmth, forget_grey
    )
    with show.progress() as progress:
        result = level(folder, options, progress)
    if as_json:
        show.json_out(result)
    else:
        show_levels(result)
    return 1 if result.greys_refused else 0


def _grey_point(folder: Path, text: str) -> GreyPoint:
    from fractions import Fraction

    from evenhand.jobs.level import GreyPoint
    from evenhand.jobs.originals import original_and_facts
    from evenhand.shoot import store

    hint = "'--grey'"
    form = f"write CLIP@TIME,X,Y, such as A010@1s,0.45,0.60, not {text!r}."
    clip, at, rest = text.rpartition("@")
    parts = rest.split(",")
    if not at or not clip or len(parts) != 3:
        raise click.BadParameter(form, param_hint=hint)
    try:
        x, y = float(parts[1]), float(parts[2])
    except ValueError as error:
        raise click.BadParameter(form, param_hint=hint) from error
    if not (0 <= x <= 1 and 0 <= y <= 1):
        raise click.BadParameter(
            f"{parts[1]},{parts[2]} is outside the picture: X and Y go from 0 to 1.",
            param_hint=hint,
        )
    try:
        time = At().convert(parts[0], None, None)
    except click.BadParameter as error:
        raise click.BadParameter(error.message, param_hint=hint) from error
    shoot = store.load(folder)
    _, facts = original_and_facts(folder, shoot, shoot.clip(clip))
    when = seconds(time, Fraction(facts.rate))
    if when > Fraction(facts.duration).limit_denominator(10**6):
        raise click.BadParameter(
            f"{clip} is {facts.duration:.3f} s long, and {parts[0]} is later.", param_hint=hint
        )
    return GreyPoint(clip, when, x, y)


def _explain(folder: Path, name: str, as_json: bool) -> None:
    from evenhand.cli import show
    from evenhand.shoot import store

    decision = store.load(folder).clip(name).decision
    if decision is None:
        raise ShootError(name, "it has not been levelled", "Run: evenhand level")
    if as_json:
        show.json_out(decision)
        return
    show.line(f"{decision.clip} in {decision.setup}, reference {decision.reference}")
    show.paragraph(f"{decision.status}: {correction(decision)}")
    show.paragraph(f"why: {decision.why}")
    if decision.status in MEASURED:
        show.paragraph(f"sure: {show.percent(decision.confidence)}")
    match = decision.match
    if match is not None and match.inliers:
        show.paragraph(
            f"the match: {match.inliers} points agree ({show.percent(match.inlier_ratio)} of "
            f"those alike), {show.percent(match.coverage)} of the picture measured, "
            f"spread {match.spread:.3f} stop, {show.percent(match.support)} with one ratio"
        )
    if decision.proposal is not None:
        p = decision.proposal
        white = f"{p.white.kelvin:.0f} K, Duv {p.white.duv:+.4f}"
        show.paragraph(
            f"proposal, not applied: white {white} (typical error {p.mired_error:.0f} mired, one "
            f"case in ten over {p.mired_worst:.0f}); {p.why}"
        )
        show.paragraph(f"exposure: {p.exposure}")
        show.paragraph(
            f"to take it: evenhand adjust {decision.clip} --white {p.white.kelvin:.0f} "
            f"--duv {p.white.duv:.4f}"
        )
    if decision.would_change:
        show.paragraph(f"what would change it: {decision.would_change}")


def correction(decision: LevelDecision) -> str:
    """What levelling does to a clip, in a few words."""
    parts = [f"{decision.stops:+.2f} stop"] if decision.stops else []
    if decision.white is not None:
        white = decision.white
        parts.append(f"its white was {white.kelvin:.0f} K, Duv {white.duv:+.4f}")
    return "; ".join(parts) or "untouched"


def reason(decision: LevelDecision) -> str:
    """Why, in a few words; `--explain` says it in full."""
    if decision.status == "left alone":
        return "shares no view"
    if decision.status in ("grey", "chart"):
        return f"by a {'grey card' if decision.status == 'grey' else 'chart'}"
    if decision.status == "reference":
        return "the others match it"
    even = not decision.stops and decision.white is None
    points = decision.match.inliers if decision.match is not None else 0
    told = "already even" if even else f"{points} points agree"
    return f"{told}, by {', '.join(decision.via)}" if decision.via else told


def show_levels(result: LevelResult) -> None:
    """Decisions and evenness as two tables; what has to be known below them."""
    from evenhand.cli import show

    rows = []
    for d in result.decisions:
        stops = f"{d.stops:+.2f} stop" if d.stops else "as shot"
        white = f"{d.white.kelvin:.0f} K, {d.white.duv:+.4f}" if d.white else "as shot"
        sure = show.percent(d.confidence) if d.status in MEASURED else ""
        rows.append([d.setup, d.clip, d.status, stops, white, sure, reason(d)])
    if rows:
        headings = ["setup", "clip", "status", "exposure", "white was, Duv", "sure", "why"]
        show.table(headings, rows, right=(5,), spare=(6, 5))
        show.line()
    _show_evenness(result)
    for refused in result.greys_refused:
        show.note(f"grey card not used: {refused}")
    for clip in result.left_out:
        show.note(f"left out: {clip}: its encoding is not settled")
    alone = [d.clip for d in result.decisions if d.status == "left alone"]
    if alone and result.saved:
        show.note(f"a proposal for {alone[0]}: evenhand level --explain {alone[0]}")
    if not result.saved:
        show.note("dry run: nothing was changed")


def _show_evenness(result: LevelResult) -> None:
    """How far the clips of each setup lie from their reference, at worst."""
    from evenhand.cli import show

    rows = [
        [
            even.setup,
            even.reference,
            f"{even.before.worst_stops:.2f} stop, {even.before.worst_mired:.1f} mired",
            f"{even.after.worst_stops:.3f} stop, {even.after.worst_mired:.1f} mired",
        ]
        for even in result.evenness
        if even.before and even.after
    ]
    if rows:
        headings = ["evenness", "reference", "worst as shot", "worst levelled"]
        show.table(headings, rows, right=(2, 3))
