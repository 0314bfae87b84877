"""`evenhand master`: write and verify masters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, shoot_option

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
    help="web-uhd, web-hd, web-720, archive, or a .toml file of your own; may be repeated.",
)
@click.option("--to", required=True, type=click.Path(path_type=Path), metavar="DIR")
@click.option("--quality", metavar="LEVEL", help="draft, good or best (default: the spec's).")
@click.option("--allow-damaged", is_flag=True, help="Master what is there of a damaged clip.")
@click.option("--overwrite", is_flag=True, help="Replace files of the same name.")
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
    """The masters as a table, and what could not be made."""
    from evenhand.cli import show

    rows = []
    for entry, state in [(e, "made") for e in result.made] + [(e, "kept") for e in result.kept]:
        passed = sum(check.ok for check in entry.checks)
        psnr = next((c.found for c in entry.checks if c.name == "PSNR, luma"), "")
        conform = f"{entry.repeated} repeated, {entry.dropped} dropped"
        rows.append(
            [
                Path(entry.path).name,
                state,
                f"{entry.size[0]} x {entry.size[1]}",
                str(entry.frames),
                conform if entry.repeated or entry.dropped else "untouched",
                f"{entry.compiled.de_p999:.2f}",
                psnr.split(" in ")[0],
                f"{passed} of {len(entry.checks)}",
            ]
        )
    if rows:
        headings = ["master", "", "size", "frames", "frame rate", "ΔE p99.9", "PSNR", "checks"]
        show.table(headings, rows, right=(3, 5, 6))
    for undone in result.undone:
        show.note(f"not made: {undone.clip}, {undone.spec}: {undone.why}")
