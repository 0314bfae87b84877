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
    metavar="SPEC",
    help="web-uhd, web-uhd-hlg, web-hd, web-720, archive, or a .toml file; may be repeated.",
)
@click.option(
    "--to",
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
    to: Path | None,
    quality: str | None,
    allow_damaged: bool,
    overwrite: bool,
    shoot_dir: Path | None,
    as_json: bool,
) -> int:
    """Write a master of every clip by every spec, and verify each before it gets its name.

    A master that is there already is kept: a stopped run goes on. One of an older grade is outdated
    and is replaced, and so is one of a lower quality than is asked for. Without --spec and --to,
    the masters that are there are listed with their states.
    """
    from evenhand.cli import show
    from evenhand.jobs.master import MasterOptions, master
    from evenhand.shoot.store import shoot_folder

    if not specs and to is None:
        _list(shoot_folder(shoot_dir, Path.cwd()), clips, as_json)
        return 0
    if not specs or to is None:
        raise click.UsageError("--spec and --to go together: name both, or neither for a list.")
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
    from evenhand.wording.saying import clause

    replacing = ("master.outdated", "master.lower", "master.respec", "master.broken")
    replaced = {(r.clip, r.spec) for r in result.remarks if r.why.code in replacing}
    rows, conformed = [], []
    made = [(e, "replaced" if (e.clip, e.spec) in replaced else "made") for e in result.made]
    for entry, state in [*made, *((e, "kept") for e in result.kept)]:
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
    rows += [[Path(o.path).name, "outdated", "", "", "", "", ""] for o in result.outdated]
    if rows:
        headings = ["master", "status", "size", "frames", "ΔE p99.9", "PSNR", "checks"]
        show.table(headings, rows, right=(3, 4, 5), spare=(3, 5))
    for told in conformed:
        show.note(told)
    for remark in result.remarks:
        show.note(f"{remark.clip}, {remark.spec}: {clause(remark.why)}")
    for old in result.outdated:
        show.note(f"outdated: {old.path}: the grade of {old.clip} has changed since")
    for notice in result.notices:
        show.note(notice)
    for undone in result.undone:
        show.note(f"not made: {undone.clip}, {undone.spec}: {undone.why}")


def _list(folder: Path, clips: tuple[str, ...], as_json: bool) -> None:
    """The masters that are there, each with its state."""
    from evenhand.cli import show
    from evenhand.jobs.standing import shoot_masters

    found = shoot_masters(folder, clips)
    if as_json:
        show.json_out(found)
    elif found:
        rows = [[Path(m.path).name, m.state, m.spec, m.quality, m.path] for m in found]
        show.table(["master", "status", "spec", "quality", "file"], rows, spare=(2, 3))
    else:
        show.note("no masters yet: evenhand master --spec SPEC --to DIR")
