"""`evenhand look`: list the looks, and use one."""

from __future__ import annotations

from pathlib import Path

import click

from evenhand.cli.options import Strength, json_option, shoot_option


class Looks(click.Group):
    """The verbs of looks, under that heading and in the order of use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return ["list", "show", "use"]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        names = [(name, self.commands[name]) for name in self.list_commands(ctx)]
        with formatter.section("Verbs"):
            formatter.write_dl([(n, command.get_short_help_str(80)) for n, command in names])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            ctx.fail(f"there is no verb 'look {args[0]}': write look list, look show or look use.")
        return super().resolve_command(ctx, args)


@click.group(
    cls=Looks,
    subcommand_metavar="VERB …",
    epilog="Example: evenhand look use oven-light --strength 70%",
)
def command() -> None:
    """List looks, show what one does, and use one on clips."""


@command.command("list", epilog="Example: evenhand look list")
@json_option
def list_command(as_json: bool) -> None:
    """The looks that come with evenhand."""
    from evenhand.cli import show
    from evenhand.jobs.look import list_looks

    looks = list_looks()
    if as_json:
        show.json_out(looks)
        return
    show.table(["look", "what for"], [[look.name, look.purpose] for look in looks])


@command.command("show", epilog="Example: evenhand look show oven-light")
@click.argument("name", metavar="LOOK")
@json_option
def show_command(name: str, as_json: bool) -> None:
    """What a look does, move by move."""
    from evenhand.cli import show
    from evenhand.grade.looks import look_named
    from evenhand.jobs.look import list_looks

    found = look_named(name)
    look = next(line for line in list_looks() if line.name == found.name)
    if as_json:
        show.json_out(look)
        return
    show.paragraph(f"{look.title}: {look.purpose}", "")
    show.line(f"Made for {look.space} signals. Its moves:")
    for move in look.moves:
        show.paragraph(f"- {move}")


@command.command("use", epilog="Example: evenhand look use oven-light A001 A002 --strength 70%")
@click.argument("name", metavar="LOOK")
@click.argument("clips", nargs=-1, metavar="[CLIP…]")
@click.option(
    "--strength", type=Strength(), default=1.0, metavar="70%", help="From 0% to 100% (default)."
)
@shoot_option
@json_option
def use_command(
    name: str, clips: tuple[str, ...], strength: float, shoot_dir: Path | None, as_json: bool
) -> None:
    """Put a look on clips (all of them if none is named); `none` takes it off."""
    from evenhand.cli import show
    from evenhand.jobs.look import use_look
    from evenhand.shoot.store import shoot_folder

    chosen = None if name == "none" else name
    entries = use_look(shoot_folder(shoot_dir, Path.cwd()), chosen, strength, clips)
    if as_json:
        show.json_out(entries)
        return
    on = f"{name} at {show.percent(strength)}" if chosen else "no look"
    named = ", ".join(entry.id for entry in entries)
    show.line(f"{on} on {named if clips else f'all {len(entries)} clips'}")
