"""`evenhand master`: write and verify masters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import (
    damaged_option,
    json_option,
    overwrite_option,
    quality_option,
    shoot_option,
)

if TYPE_CHECKING:
    from evenhand.jobs.master import MasterResult


@click.command(epilog="Example: evenhand master --spec web-uhd --spec archive --to masters")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option(
    "--spec",
    "specs",
    multiple=True,
    required=True,
    metavar="SPEC",
    help="web-uhd, web-uhd-hlg, web-hd, web-720, archive, or a .toml file; may be repeated.",
)
@click.option(
    "--to",
    required=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The folder for the masters; it is made where it is missing.",
)
@quality_option
@damaged_option
@overwrite_option
@shoot_option
@json_option
def command(
    clips: tuple[str, ...],
    specs: tuple[str, ...],
    to: Path,
    quality: str | None,
    allow_damaged: bool,
    overwrite: bool,
    shoot_dir: Path | None,
    as_json: bool,
) -> int:
    """Write a master of every clip by every spec, and verify each before it gets its name.

    A master that is there already, made with the same grade, is kept: a stopped run goes on.
    """
    from evenhand.cli import show
    from evenhand.jobs.master import MasterOptions, master
    from evenhand.shoot.store import shoot_folder

    options = MasterOptions(specs, to, clips, quality, allow_damaged, overwrite)
    with show.progress() as progress:
        result = master(shoot_folder(shoot_dir, Path.cwd()), options, progress)
    if as_json:
        show.json_out(result)
    else:
        show_masters(result)
    return 1 if result.undone else 0


def show_masters(result: MasterResult) -> None:
    """The masters as a table, what their frame rate took, and what could not be made."""
    from evenhand.cli import show

    rows, conformed = [], []
    for entry, state in [(e, "made") for e in result.made] + [(e, "kept") for e in result.kept]:
        passed = sum(check.ok for check in entry.checks)
        psnr = next((c.found for c in entry.checks if c.name == "PSNR, luma"), "")
        name = Path(entry.path).name
        size, colour = f"{entry.size[0]} x {entry.size[1]}", f"{entry.compiled.de_p999:.2f}"
        checks = f"{passed} of {len(entry.checks)}"
        rows.append([name, state, size, str(entry.frames), colour, psnr.split(" in ")[0], checks])
        if entry.repeated or entry.dropped:
            told = f"{entry.repeated} frames repeated, {entry.dropped} dropped"
            conformed.append(f"{name}: {told}, to come to the rate of {entry.spec}")
        if entry.lost:
            conformed.append(f"{name}: {entry.lost} frames could not be decoded")
    if rows:
        headings = ["master", "status", "size", "frames", "ΔE p99.9", "PSNR", "checks"]
        show.table(headings, rows, right=(3, 4, 5), spare=(3, 5))
    for told in conformed:
        show.note(told)
    for notice in result.notices:
        show.note(notice)
    for undone in result.undone:
        show.note(f"not made: {undone.clip}, {undone.spec}: {undone.why}")
