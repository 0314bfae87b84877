"""`evenhand level`: exposure and white from measurements."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenhand.cli.options import (
    At,
    chart_option,
    decimal,
    given,
    json_option,
    seconds,
    shoot_option,
    steadying_option,
    warmth_option,
)
from evenhand.names import brief

if TYPE_CHECKING:
    from fractions import Fraction

    from evenhand.jobs.level import GreyPoint, LevelOptions

Point = tuple[str, "Fraction", float, float]  # clip, seconds, shares of width and height
REFUSABLE = ["chart", "grey-card"]


@click.command(epilog="Example: evenhand level --reference A007 --grey A010@1s,0.45,0.60")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option(
    "--reference",
    "references",
    multiple=True,
    metavar="CLIP",
    help="Match the clips of its place to this one; may be repeated.",
)
@click.option("--place", metavar="NAME", help="Put the CLIPs named into a place of this name.")
@click.option(
    "--rename", nargs=2, multiple=True, metavar="OLD NEW", help="Give a place another name."
)
@click.option(
    "--join", nargs=2, multiple=True, metavar="A B", help="Make one place of two; A's name stays."
)
@click.option(
    "--split",
    metavar="PLACE",
    help="Take the CLIPs named out of this place, into one of their own (--place names it).",
)
@click.option(
    "--grey",
    "greys",
    multiple=True,
    metavar="CLIP@TIME,X,Y",
    help="A grey card to go by: X and Y are shares of width and height, from the top left.",
)
@chart_option
@steadying_option
@warmth_option
@click.option(
    "--refuse",
    type=click.Choice(REFUSABLE),
    multiple=True,
    metavar="WHAT",
    help="Do not go by the chart or grey-card in the CLIPs named.",
)
@click.option(
    "--accept", is_flag=True, help="Take what is proposed for the CLIPs named as their own white."
)
@click.option(
    "--skin",
    "skins",
    multiple=True,
    metavar="CLIP@TIME,X,Y",
    help="Check the hue of skin at this place, as it is levelled now; nothing is changed.",
)
@click.option("--again", is_flag=True, help="Measure anew; what you said is kept.")
@click.option("--dry-run", is_flag=True, help="Show what would change; change nothing.")
@click.option("--explain", metavar="CLIP", help="Show a clip's decision with all its numbers.")
@shoot_option
@json_option
def command(
    clips: tuple[str, ...], explain: str | None, shoot_dir: Path | None, as_json: bool, **said: Any
) -> int:
    """Match the clips of each place to its reference clip, by what their views share.

    A clip that shares no view with the others is left alone, with a proposal. What you say here is
    remembered; what was measured before is not measured again.
    """
    from evenhand.cli import show
    from evenhand.cli.explain import show_explanation, show_skin
    from evenhand.cli.levelled import show_levels
    from evenhand.jobs.level import level
    from evenhand.shoot import store

    _check(clips, explain, said)
    folder = store.shoot_folder(shoot_dir, Path.cwd())
    if explain is not None:
        show_explanation(folder, explain, as_json)
        return 0
    if said["skins"]:
        show_skin(folder, [_point(folder, text, "--skin") for text in said["skins"]], as_json)
        return 0
    options = _options(folder, clips, said)
    with show.progress() as progress:
        result = level(folder, options, progress)
    if as_json:
        show.json_out(result)
    else:
        show_levels(result)
    return 1 if result.greys_refused or result.failures else 0


def _check(clips: tuple[str, ...], explain: str | None, said: dict[str, Any]) -> None:
    """Refuse what does not go together."""
    given = [value for value in said.values() if value not in (None, False, ())]
    unsaid = all(said[wish] is None for wish in ("use_charts", "keep_warmth", "steady"))
    if explain is not None and (clips or given or not unsaid):
        raise click.UsageError("--explain shows what was decided; it takes no other option.")
    if said["skins"] and (clips or len(given) > 1 or not unsaid):
        raise click.UsageError("--skin shows what is there; it takes no other option.")
    about_clips = [f"--{name}" for name in ("place", "split") if said[name] is not None]
    about_clips += [f"--{name}" for name in ("refuse", "accept") if said[name]]
    if clips and not about_clips:
        raise click.UsageError(
            "clips are named only together with --place, --split, --refuse or --accept."
        )
    if about_clips and not clips:
        raise click.UsageError(f"{about_clips[-1]} names no clip: write the clips behind it.")


def _options(folder: Path, clips: tuple[str, ...], said: dict[str, Any]) -> LevelOptions:
    from evenhand.jobs.level import LevelOptions, Regrouping

    return LevelOptions(
        references=said["references"],
        places=Regrouping(said["rename"], said["join"], said["split"], said["place"]),
        clips=clips,
        greys=tuple(_grey_point(folder, grey) for grey in said["greys"]),
        refuse=tuple(word.replace("-", "_") for word in said["refuse"]),
        accept=said["accept"],
        keep_warmth=said["keep_warmth"],
        use_charts=said["use_charts"],
        steady=said["steady"],
        again=said["again"],
        dry_run=said["dry_run"],
    )


def _grey_point(folder: Path, text: str) -> GreyPoint:
    from evenhand.jobs.level import GreyPoint

    return GreyPoint(*_point(folder, text, "--grey"))


def _point(folder: Path, text: str, option: str) -> Point:
    """CLIP@TIME,X,Y apart. Raises a usage error for what is outside the clip or the picture."""
    from fractions import Fraction

    from evenhand.jobs.originals import original_and_facts
    from evenhand.shoot import store

    hint = f"'{option}'"
    form = f"write CLIP@TIME,X,Y, such as A010@1s,0.45,0.60, not {given(text)}."
    clip, at, rest = text.rpartition("@")
    parts = rest.split(",")
    if not at or not clip or len(parts) != 3:
        raise click.BadParameter(form, param_hint=hint)
    x, y = decimal(parts[1]), decimal(parts[2])
    if x is None or y is None:
        raise click.BadParameter(form, param_hint=hint)
    if not (0 <= x <= 1 and 0 <= y <= 1):
        raise click.BadParameter(
            f"{brief(parts[1])},{brief(parts[2])} is outside the picture: X and Y go from 0 to 1.",
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
    return clip, when, x, y
