"""`evenhand scopes`: waveform, histogram and vectorscope of a frame."""

from __future__ import annotations

from pathlib import Path

import click

from evenhand.cli.options import At, json_option, seconds, shoot_option


@click.command(epilog="Example: evenhand scopes A002 --at 3s --to scopes")
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
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Draw the scopes into this folder, as PNG files.",
)
@shoot_option
@json_option
def command(clip: str, at: str, to: Path | None, shoot_dir: Path | None, as_json: bool) -> None:
    """Measure the signal of a frame, before and after; with --to, draw the scopes too."""
    from evenhand.cli import show
    from evenhand.jobs.picture import scopes
    from evenhand.shoot.store import shoot_folder

    folder = shoot_folder(shoot_dir, Path.cwd())
    reading = scopes(folder, clip, lambda rate: seconds(at, rate), to)
    if as_json:
        show.json_out(reading)
        return
    show.line(f"{reading.clip} at {reading.seconds:.3f} s, percent of signal")
    rows = []
    for when, found in (("before", reading.before), ("after", reading.after)):
        luma, colour = found.luma_percentiles, found.saturation_percentiles
        rows.append(
            [
                when,
                *(f"{luma[p]:.1f}" for p in ("1", "50", "99")),
                f"{found.luma_mean:.1f}",
                f"{colour['50']:.1f}",
                f"{found.pinned_low:.2f} %",
                f"{found.pinned_high:.2f} %",
            ]
        )
    headings = ["", "luma p1", "p50", "p99", "mean", "saturation p50", "at 0 %", "at 100 %"]
    show.table(headings, rows, right=tuple(range(1, 8)))
    for path in reading.pictures:
        show.line(path)
