"""`evenhand adjust`: change a clip by hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenhand.cli.options import Number, given, json_option, shoot_option

if TYPE_CHECKING:
    from evenhand.shoot.document import ClipEntry

OUTPUT_TRANSFORMS = ["aces2-sdr", "plain-sdr", "hlg-1000", "pq-1000"]


class Three(click.ParamType[Any]):
    """Three numbers for R, G, B, or one for all of them."""

    name = "R,G,B"

    def __init__(self, low: float, high: float) -> None:
        self.number = Number(low, high)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if isinstance(value, tuple):
            return value
        parts = str(value).split(",")
        parts = parts * 3 if len(parts) == 1 else parts
        if len(parts) != 3:
            self.fail(f"write three numbers such as 1.05,1,0.97, not {given(value)}.", param, ctx)
        return tuple(self.number.convert(part, param, ctx) for part in parts)


@click.command(epilog="Example: evenhand adjust A002 --exposure +0.3 --white 5600 --duv 0.002")
@click.argument("clips", nargs=-1, required=True, metavar="CLIP…")
@click.option(
    "--exposure",
    type=Number(-16, 16, "stops"),
    metavar="STOPS",
    help="Brighter (+) or darker (-), in stops.",
)
@click.option(
    "--white",
    "kelvin",
    type=Number(1667, 25000, "K"),
    metavar="KELVIN",
    help="The white of the clip's light; it is made neutral.",
)
@click.option(
    "--duv",
    type=Number(-0.05, 0.05),
    metavar="DUV",
    help="That white's distance from the Planckian locus; + is greener.",
)
@click.option(
    "--contrast",
    type=Number(0.1, 10),
    metavar="X",
    help="Slope about 18 % grey; 1 changes nothing.",
)
@click.option("--saturation", type=Number(0, 10), metavar="X", help="0 is grey, 1 changes nothing.")
@click.option("--slope", type=Three(0, 100), help="ASC CDL slope, in ACEScct; 1 changes nothing.")
@click.option("--offset", type=Three(-10, 10), help="ASC CDL offset; 0 changes nothing.")
@click.option("--power", type=Three(0.01, 100), help="ASC CDL power; 1 changes nothing.")
@click.option(
    "--output-transform",
    type=click.Choice(OUTPUT_TRANSFORMS),
    metavar="NAME",
    help=f"The conversion for the display: {', '.join(OUTPUT_TRANSFORMS)}.",
)
@click.option("--copy-from", metavar="CLIP", help="Begin with another clip's adjustment.")
@click.option("--reset", is_flag=True, help="Drop what was set by hand first.")
@shoot_option
@json_option
def command(
    clips: tuple[str, ...],
    copy_from: str | None,
    reset: bool,
    shoot_dir: Path | None,
    as_json: bool,
    **values: Any,
) -> None:
    """Change exposure, white, CDL, contrast, saturation or output transform by hand.

    Exposure adds to the levelled exposure; a white by hand replaces the levelled one. Without an
    option, the clips' adjustments are shown.
    """
    from evenhand.cli import show
    from evenhand.jobs.adjust import Changes, adjust
    from evenhand.shoot.store import shoot_folder

    changes = Changes(**values)
    entries = adjust(shoot_folder(shoot_dir, Path.cwd()), clips, changes, copy_from, reset)
    if as_json:
        show.json_out(entries)
        return
    for entry in entries:
        show.line(f"{entry.id}: {adjustment_words(entry)}")


def adjustment_words(entry: ClipEntry) -> str:
    """What was set by hand on a clip, in a line."""
    from evenhand.wording.adjusting import adjusted

    parts = [f"{name} {value}" for name, value in adjusted(entry.adjustment)]
    if entry.output_transform:
        parts.append(f"output transform {entry.output_transform}")
    return "; ".join(parts) or "nothing is set by hand"
