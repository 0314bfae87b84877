"""`evenhand adjust`: change a clip by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from evenhand.cli.options import json_option, shoot_option

RENDERINGS = ["aces2-sdr", "plain-sdr", "hlg-1000", "pq-1000"]


class Three(click.ParamType[Any]):
    """Three numbers for R, G, B, or one for all of them."""

    name = "R,G,B"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if isinstance(value, tuple):
            return value
        try:
            numbers = [float(part) for part in str(value).split(",")]
        except ValueError:
            numbers = []
        if len(numbers) == 1:
            numbers *= 3
        if len(numbers) != 3:
            self.fail(f"write three numbers such as 1.05,1,0.97, not {value!r}.", param, ctx)
        return (numbers[0], numbers[1], numbers[2])


@click.command(epilog="Example: evenhand adjust A002 --exposure +0.3 --white 5600 --duv 0.002")
@click.argument("clips", nargs=-1, required=True, metavar="CLIP…")
@click.option("--exposure", type=float, metavar="STOPS", help="Brighter (+) or darker (−).")
@click.option("--white", type=float, metavar="KELVIN", help="The white that the clip has.")
@click.option("--duv", type=float, metavar="DUV", help="Its distance from the locus, + is green.")
@click.option("--contrast", type=float, metavar="X", help="Power about 18 % grey; 1 is neutral.")
@click.option("--saturation", type=float, metavar="X", help="1 is neutral, 0 is grey.")
@click.option("--slope", type=Three(), help="ASC CDL slope.")
@click.option("--offset", type=Three(), help="ASC CDL offset, in ACEScct.")
@click.option("--power", type=Three(), help="ASC CDL power.")
@click.option("--rendering", type=click.Choice(RENDERINGS), help="Technical conversion.")
@click.option("--copy-from", metavar="CLIP", help="Begin with another clip's adjustment.")
@click.option("--reset", is_flag=True, help="Drop what was set by hand first.")
@shoot_option
@json_option
def command(
    clips: tuple[str, ...],
    white: float | None,
    copy_from: str | None,
    reset: bool,
    shoot_dir: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Change exposure, white, CDL, contrast, saturation or rendering by hand.

    Exposure adds to the levelled exposure; a white by hand replaces the levelled one.
    """
    from evenhand.cli import show
    from evenhand.jobs.adjust import Changes, adjust
    from evenhand.shoot.store import shoot_folder

    changes = Changes(kelvin=white, **values)
    entries = adjust(shoot_folder(shoot_dir, Path.cwd()), clips, changes, copy_from, reset)
    if as_json:
        show.json_out(entries)
        return
    for entry in entries:
        made = entry.adjustment
        parts = [f"exposure {made.exposure:+.2f} stop"]
        if made.white:
            parts.append(f"white {made.white.kelvin:.0f} K {made.white.duv:+.4f}")
        parts += [f"contrast {made.contrast:g}", f"saturation {made.saturation:g}"]
        if (
            made.cdl.slope != (1, 1, 1)
            or made.cdl.offset != (0, 0, 0)
            or made.cdl.power != (1, 1, 1)
        ):
            parts.append(
                f"CDL slope {made.cdl.slope} offset {made.cdl.offset} power {made.cdl.power}"
            )
        show.line(f"{entry.id}: {', '.join(parts)}")
