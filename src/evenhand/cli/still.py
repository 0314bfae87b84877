"""`evenhand still`: a 16-bit still of a frame."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from evenhand.cli.options import At, json_option, seconds, shoot_option


@click.command(epilog="Example: evenhand still A002 --at 3s --to A002.png --which both")
@click.argument("clip", metavar="CLIP")
@click.option(
    "--at",
    type=At(),
    default="0s",
    metavar="3s",
    help="When: 3s, 75f or a timecode from the first frame (default: 0s).",
)
@click.option(
    "--to",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The file to write; its name ends in .png or .tif.",
)
@click.option(
    "--which",
    type=click.Choice(["before", "after", "both"]),
    default="after",
    metavar="WHICH",
    help="before (as shot), after (graded; default) or both, side by side.",
)
@click.option("--overwrite", is_flag=True, help="Replace a file of the same name.")
@shoot_option
@json_option
def command(
    clip: str,
    at: str,
    to: Path,
    which: Literal["before", "after", "both"],
    overwrite: bool,
    shoot_dir: Path | None,
    as_json: bool,
) -> None:
    """Write a 16-bit still, PNG or TIFF by the name's end, made by the exact transform."""
    from evenhand.cli import show
    from evenhand.jobs.picture import still
    from evenhand.shoot.store import shoot_folder

    folder = shoot_folder(shoot_dir, Path.cwd())
    shown = still(folder, clip, lambda rate: seconds(at, rate), to, which, overwrite)
    if as_json:
        show.json_out(shown)
    else:
        size = f"{shown.width} x {shown.height}, 16 bits"
        show.line(f"{shown.clip} at {shown.seconds:.3f} s: {shown.path} ({size})")
