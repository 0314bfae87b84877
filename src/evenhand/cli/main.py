"""The command line: verbs loaded when they are called, errors as one line and an exit status."""

from __future__ import annotations

import importlib
import sys
from typing import NoReturn

import click

from evenhand import __version__
from evenhand.errors import EvenhandError

# In the order of the work: verb -> module of this package, and what it does.
VERBS = {
    "demo": ("demo", "Make the demo card and run the whole job on it."),
    "run": ("run", "The whole job: scan, level, look, masters, checks, report."),
    "scan": ("scan", "Make or update the shoot; identify each clip, with evidence."),
    "level": ("level", "Set exposure and white from measurements."),
    "adjust": ("adjust", "Change exposure, white, CDL, contrast or saturation by hand."),
    "look": ("look", "List looks, and use one on clips."),
    "scopes": ("scopes", "Waveform, histogram and vectorscope of a frame."),
    "still": ("still", "A 16-bit still: before, after or both."),
    "master": ("master", "Write and verify masters; goes on where it stopped."),
    "report": ("report", "One self-contained page about the shoot."),
}


class Verbs(click.Group):
    """A group whose commands are imported only when called, so that help stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in VERBS:
            return None
        module = importlib.import_module(f"evenhand.cli.{VERBS[name][0]}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, says) for verb, (_, says) in VERBS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in VERBS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], VERBS, 1)
            hint = f" Did you mean {near[0]}?" if near else f" The verbs are {', '.join(VERBS)}."
            ctx.fail(f"there is no verb {args[0]!r}.{hint}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Begin with: evenhand run CARD --look oven-light --strength 70% --to masters",
)
@click.version_option(__version__, prog_name="evenhand")
def evenhand() -> None:
    """From a card of phone clips to checked masters, by measurement.

    Originals are only ever read. Every verb takes --json and --help.
    """


def main() -> NoReturn:
    """Run a verb; exit with 0 done, 1 something could not be done, 2 wrong usage."""
    sys.exit(status())


def status(arguments: list[str] | None = None) -> int:
    """Run a verb and return its exit status; whatever went wrong is one line on stderr."""
    try:
        result = evenhand.main(arguments, prog_name="evenhand", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.UsageError as error:
        click.echo(f"evenhand: {_sentence(error.format_message())}", err=True)
        if error.ctx is not None:
            click.echo(f"Try: {error.ctx.command_path} --help", err=True)
        return 2
    except click.ClickException as error:
        click.echo(f"evenhand: {_sentence(error.format_message())}", err=True)
        return 2
    except EvenhandError as error:
        click.echo(f"evenhand: {error}", err=True)
        return error.exit_status
    except (KeyboardInterrupt, click.Abort):
        click.echo(
            "\nevenhand: stopped. Nothing half-made is left; the same command goes on from here.",
            err=True,
        )
        return 1
    except BrokenPipeError:
        return 1


def _sentence(message: str) -> str:
    return message[:1].lower() + message[1:]
