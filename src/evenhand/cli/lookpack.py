"""`evenhand look pack`: looks as a zip for a shop, and checking one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import Strength, json_option, overwrite_option
from evenhand.wording import figures

if TYPE_CHECKING:
    from evenhand.jobs.lookpack import PackMade
    from evenhand.jobs.looks import FoundLook
    from evenhand.jobs.packcheck import PackChecked


@click.command("pack", epilog="Example: evenhand look pack oven-light rye --to looks.zip")
@click.argument("names", nargs=-1, metavar="[LOOK|FILE…]")
@click.option("--to", type=click.Path(path_type=Path), metavar="ZIP", help="Where to write it.")
@click.option(
    "--check", "to_check", type=click.Path(path_type=Path), metavar="ZIP", help="Check a pack."
)
@click.option("--name", default="Looks", help="What the pack is called (default: Looks).")
@click.option("--seller", default="", metavar="NAME", help="Who gives the licence.")
@click.option(
    "--licence",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The licence, filled in (default: one to fill in).",
)
@click.option(
    "--size",
    "sizes",
    type=click.Choice(["17", "33", "65"]),
    multiple=True,
    help="Nodes a side, again for more (default: 33 for the display, 65 from log).",
)
@click.option(
    "--format",
    "kinds",
    type=click.Choice(["cube", "clf"]),
    multiple=True,
    help="Kinds of file, again for both (default: both; from log cube alone).",
)
@click.option(
    "--strength", type=Strength(), default=1.0, metavar="70%", help="Bake the looks in at this."
)
@click.option("--allow-failing", is_flag=True, help="Pack looks that fail their health too.")
@click.option("--space", metavar="SPACE", help="What look files expect that do not say it.")
@click.option("--gives", metavar="SPACE", help="What they give; the same if not said.")
@overwrite_option
@json_option
def pack_command(
    names: tuple[str, ...],
    to: Path | None,
    to_check: Path | None,
    space: str | None,
    gives: str | None,
    overwrite: bool,
    as_json: bool,
    **options: object,
) -> None:
    """Pack looks for a shop: tables, documents, contact sheet, licence, checksums and index.

    Without a name, all looks that come with evenhand. With --check, verify a pack instead.
    """
    if to_check is not None:
        if names or to is not None:
            raise click.UsageError("--check goes alone: it checks a pack and writes none")
        _check(to_check, as_json)
        return
    if to is None:
        raise click.UsageError("where to? Write --to and the name of a zip")
    if space is None and gives is not None:
        raise click.UsageError("--gives goes with --space: write both")
    _pack(_found(names, space, gives), to, options, overwrite, as_json)


def _found(names: tuple[str, ...], space: str | None, gives: str | None) -> list[FoundLook]:
    from evenhand.grade.looks import LOOKS
    from evenhand.jobs.looks import find_look
    from evenhand.luts.declared import Declared

    declared = None if space is None else Declared(space, gives or space)
    looks = []
    for name in names or tuple(LOOKS):
        found = find_look(name)
        is_file = found.file is not None and found.file.declared is None
        looks.append(find_look(name, declared) if is_file and declared else found)
    return looks


def _pack(
    looks: list[FoundLook], to: Path, options: dict[str, object], overwrite: bool, as_json: bool
) -> None:
    from evenhand.cli import show
    from evenhand.jobs.lookpack import PackOptions, pack_looks, read_licence

    path = options.pop("licence")
    options["licence"] = None if path is None else read_licence(Path(str(path)))
    options["sizes"] = tuple(sorted({int(size) for size in options["sizes"]}))  # type: ignore[attr-defined]
    options["kinds"] = tuple(sorted(set(options["kinds"])))  # type: ignore[call-overload]
    with show.progress(quiet=as_json) as progress:
        made = pack_looks(
            looks,
            to,
            PackOptions(**options),  # type: ignore[arg-type]
            overwrite=overwrite,
            progress=progress,
        )
    if as_json:
        show.json_out(made)
        return
    _tell(made)


def _tell(made: PackMade) -> None:
    from evenhand.cli import show

    rows = []
    for look in made.index.looks:
        errors = [table.errors.natural for table in look.tables]
        rows.append(
            [
                look.name,
                look.verdict,
                "–" if look.advised is None else figures.strength(look.advised),
                str(len(look.tables)),
                f"{max(e.de_p99 for e in errors):.2f}",
                f"{max(e.de_max for e in errors):.2f}",
            ]
        )
    show.table(["look", "health", "advised", "tables", "ΔE p99", "ΔE max"], rows, (2, 3, 4, 5))
    show.line(f"{made.path}: {made.members} files, {made.bytes / 1e6:.1f} MB")
    show.line(f"SHA-256 {made.sha256}")
    for look in made.index.looks:
        for said in (*look.left_out, *look.notes):
            show.paragraph(f"{look.name}: {said}.", "")


def _check(path: Path, as_json: bool) -> None:
    from evenhand.cli import show
    from evenhand.jobs.packcheck import check_pack

    with show.progress(quiet=as_json) as progress:
        checked = check_pack(path, progress)
    if as_json:
        show.json_out(checked)
    else:
        _tell_checked(checked)
    if not checked.passes:
        raise click.exceptions.Exit(1)


def _tell_checked(checked: PackChecked) -> None:
    from evenhand.cli import show

    for finding in checked.findings:
        said = f"{finding.level}: {finding.member}: {finding.says}"
        show.line("".join(c if c.isprintable() else "?" for c in said))  # names are anybody's
    kind = "" if checked.ours else " (not of our making)"
    held = f"{checked.members} files, {checked.tables} tables"
    verdict = "pass" if checked.passes else "fail"
    show.line(f"{verdict}: {checked.path}{kind}: {held}")
