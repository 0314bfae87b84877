"""`evenhand look`: list the looks, and use one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from evenhand.cli import lookcheck, lookmake, looksheet
from evenhand.cli.lookoptions import declared_as, declaring
from evenhand.cli.lookpack import pack_command
from evenhand.cli.options import Strength, json_option, overwrite_option, shoot_option
from evenhand.names import brief
from evenhand.wording import figures

if TYPE_CHECKING:
    from evenhand.jobs.look import LookFacts
    from evenhand.luts.declared import Declared


_ORDER: Final = ("list", "show", "check", "make", "sheet", "wall", "pack", "use")


class Looks(click.Group):
    """The verbs of looks, under that heading and in the order of use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for name in _ORDER if name in self.commands]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        names = [(name, self.commands[name]) for name in self.list_commands(ctx)]
        with formatter.section("Verbs"):
            formatter.write_dl([(n, command.get_short_help_str(80)) for n, command in names])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            verbs = ", ".join(self.list_commands(ctx))
            ctx.fail(f"there is no verb 'look {brief(args[0])}'. The verbs of looks are: {verbs}.")
        return super().resolve_command(ctx, args)


@click.group(
    cls=Looks,
    subcommand_metavar="VERB …",
    epilog="Example: evenhand look use oven-light --strength 70%",
)
def command() -> None:
    """List looks, show, test, make and compare them, and use one on clips."""


for verb in (lookcheck.command, lookmake.command, looksheet.sheet, looksheet.wall, pack_command):
    command.add_command(verb)


@command.command("list", epilog="Example: evenhand look list")
@click.option("--shoot", "shoot_dir", type=click.Path(path_type=Path), help="With its looks.")
@json_option
def list_command(shoot_dir: Path | None, as_json: bool) -> None:
    """The looks that come with evenhand, and those that the shoot keeps."""
    from evenhand.cli import show
    from evenhand.errors import ShootError
    from evenhand.jobs.look import list_looks
    from evenhand.shoot.store import shoot_folder

    folder: Path | None = None
    try:
        folder = shoot_folder(shoot_dir, Path.cwd())
    except ShootError:
        if shoot_dir is not None:
            raise
    looks = list_looks(folder)
    if as_json:
        show.json_out(looks)
        return
    show.table(
        ["look", "what for", "on"],
        [[k.name, k.purpose or f"from {k.file}", ", ".join(k.clips)] for k in looks],
    )


@command.command("show", epilog="Example: evenhand look show oven-light")
@click.argument("name", metavar="LOOK")
@click.option("--explain", is_flag=True, help="Write an illustrated page of what it does.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The page of --explain; its name ends in .html.",
)
@overwrite_option
@declaring
@json_option
def show_command(
    name: str,
    explain: bool,
    to: Path | None,
    overwrite: bool,
    space: str | None,
    gives: str | None,
    correction: str | None,
    as_json: bool,
) -> None:
    """What a look does: LOOK is a name of `look list`, or a file.

    With --explain, a page to read or print: before and after, its moves in numbers, its place in
    the order of work, curves, hues, skins and every figure of its health.
    """
    from evenhand.cli import show
    from evenhand.jobs.look import show_look

    if explain != (to is not None):
        raise click.UsageError("--explain and --to go together: --explain --to FILE.html")
    if to is not None:
        _explain(name, to, declared_as(space, gives), correction, overwrite, as_json)
        return
    facts = show_look(name, declared_as(space, gives), correction)
    if as_json:
        show.json_out(facts)
        return
    look = facts.look
    show.paragraph(f"{look.title}: {look.purpose}" if look.purpose else look.title, "")
    made = f"Made for {look.space} signal" + (
        f", gives {look.gives}" if look.gives not in ("", look.space) else ""
    )
    nobody = " (nobody says so: assumed)" if facts.declared_by == "nobody" else ""
    show.line(f"{made}{nobody}." + (" Its moves:" if look.moves else ""))
    for move in look.moves:
        show.paragraph(f"- {move}")
    if look.file is not None and not look.moves:
        show.paragraph(f"Its values say: {facts.kind.says}.", "")
    tell_placing(facts)


def _explain(
    name: str,
    to: Path,
    declared: Declared | None,
    correction: str | None,
    overwrite: bool,
    as_json: bool,
) -> None:
    from evenhand.cli import show
    from evenhand.jobs.lookexplain import explain_look

    made = explain_look(name, to, declared, correction, overwrite=overwrite)
    if as_json:
        show.json_out(made)
    else:
        show.line(f"page: {made.path}")


def tell_placing(facts: LookFacts) -> None:
    """What a person should know of a look file, and whether it is declared for what it does."""
    from evenhand.cli import show

    for warning in facts.warnings:
        show.paragraph(f"Note: {warning}.", "")
    if facts.placing.verdict != "agrees":
        show.paragraph(f"{facts.placing.says}. {facts.placing.remedy}.", "")


@command.command("use", epilog="Example: evenhand look use oven-light A001 A002 --strength 70%")
@click.argument("name", metavar="LOOK")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option(
    "--strength", type=Strength(), default=1.0, metavar="70%", help="From 0% to 100% (default)."
)
@click.option("--effects", is_flag=True, help="With the look's halation and grain, if it has any.")
@declaring
@shoot_option
@json_option
def use_command(
    name: str,
    clips: tuple[str, ...],
    strength: float,
    effects: bool,
    space: str | None,
    gives: str | None,
    correction: str | None,
    shoot_dir: Path | None,
    as_json: bool,
) -> None:
    """Put a look on clips (all of them if none is named); `none` takes it off.

    LOOK is a name of `look list`, or a file: a look document, .cube, CLF or ASC CDL. The shoot
    keeps its own copy.
    """
    from evenhand.cli import show
    from evenhand.jobs.look import LookOptions, use_look
    from evenhand.jobs.looks import find_look
    from evenhand.shoot.store import shoot_folder

    declared = declared_as(space, gives)
    found = None if name == "none" else find_look(name, declared, correction)
    folder = shoot_folder(shoot_dir, Path.cwd())
    used = use_look(folder, found, LookOptions(strength, clips, effects, declared=declared))
    if as_json:
        show.json_out(used)
        return
    on = f"{found.name} at {figures.strength(strength)}" if found else "no look"
    named = ", ".join(entry.id for entry in used.clips)
    show.line(f"{on} on {named if clips else f'all {len(used.clips)} clips'}")
    if used.look is not None:
        tell_placing(used.look)
    for notice in used.notices:
        show.paragraph(notice, "")
