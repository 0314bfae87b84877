"""The command line: verbs loaded when they are called, errors as one line and an exit status."""

from __future__ import annotations

import errno
import importlib
import logging
import os
import sys
from typing import NoReturn

import click

from evenhand import __version__
from evenhand.errors import TRACE, EvenhandError, fault
from evenhand.names import brief, shown

LONG = 255  # letters of an argument, such as a path, that are said whole
MOST = 2000  # letters of a line of an error

# In the order of the work: verb -> module of this package, and what it does.
VERBS = {
    "demo": ("demo", "Make the demo card and run the whole job on it."),
    "run": ("run", "The whole job: scan, level, look, masters, checks, report."),
    "scan": ("scan", "Make or update the shoot; identify each clip, with evidence."),
    "level": ("level", "Set exposure and white from measurements."),
    "adjust": ("adjust", "Change exposure, white, CDL, contrast or saturation by hand."),
    "look": ("look", "List looks, show what one does, use one on clips."),
    "leave-out": ("decide:leave_out", "Leave clips out of masters, or take them back."),
    "forget": ("decide:forget", "Take back what you said of clips, places or looks."),
    "history": ("history:history", "What was decided, when, and what it was before."),
    "undo": ("history:undo", "Take back the latest command."),
    "redo": ("history:redo", "Do again what was undone last."),
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
        module, _, called = VERBS[name][0].partition(":")
        found = importlib.import_module(f"evenhand.cli.{module}")
        command: click.Command = getattr(found, called or "command")
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
            ctx.fail(f"there is no verb {brief(args[0])!r}.{hint}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=Verbs,
    subcommand_metavar="VERB …",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Begin with: evenhand run CARD --look oven-light --strength 70% --to masters",
)
@click.version_option(__version__, prog_name="evenhand", message="%(prog)s %(version)s")
def evenhand() -> None:
    """From a card of phone clips to checked masters, by measurement.

    Originals are only ever read. Every verb takes --json and --help. A CLIP is named by its file
    name with or without its end (A001 will do for A001_oven_wide), or by its path.
    """


def main() -> NoReturn:
    """Run a verb; exit with 0 done, 1 something could not be done, 2 wrong usage."""
    if getattr(sys, "frozen", False):  # a child of a program that was frozen into one file
        from multiprocessing import freeze_support

        freeze_support()
    sys.exit(status())


def status(arguments: list[str] | None = None) -> int:
    """Run a verb and return its exit status; whatever went wrong is one line on stderr."""
    logging.getLogger("evenhand").handlers = [_Notices()]
    try:
        result = evenhand.main(arguments, prog_name="evenhand", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return 2
    except click.UsageError as error:
        path = error.ctx.command_path if error.ctx is not None else "evenhand"
        said = _given_short(error.format_message(), arguments)
        _say(f"{_sentence(said)} See {path} --help.")
        return 2
    except click.ClickException as error:
        _say(_sentence(_given_short(error.format_message(), arguments)))
        return 2
    except EvenhandError as error:
        _say(_given_short(str(error), arguments, LONG))
        return error.exit_status
    except (KeyboardInterrupt, click.Abort):
        click.echo(
            "\nevenhand: stopped. Nothing half-made is left; the same command goes on from here.",
            err=True,
        )
        return 1
    except BrokenPipeError:
        return 1
    except Exception as error:  # a fault of the program is one line too
        if isinstance(error, OSError) and error.errno == errno.ENAMETOOLONG:
            _say(f"{brief(str(error.filename))}: no file can have so long a name. Check the path.")
            return 2
        if os.environ.get(TRACE):
            raise
        _say(_given_short(fault(error), arguments, LONG))
        return 1


class _Notices(logging.Handler):
    """What costs time and nothing else, such as a database that cannot be written: a line each."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._told: set[str] = set()

    def emit(self, record: logging.LogRecord) -> None:
        """Say it, once a call."""
        message = record.getMessage()
        if message not in self._told:
            _say(message)
        self._told.add(message)


def _say(message: str) -> None:
    """One line on stderr, in which nothing that was given can do anything to the terminal."""
    click.echo(f"evenhand: {brief(shown(message), MOST)}", err=True)


def _given_short(message: str, arguments: list[str] | None, most: int = 60) -> str:
    """A message, which may repeat what was given, with the arguments longer than `most` cut."""
    for given in sys.argv[1:] if arguments is None else arguments:
        for value in (given, given.partition("=")[2]):
            if len(value) > most:
                short = brief(value)
                message = message.replace(repr(value)[1:-1], short).replace(value, short)
    return message.replace("\n\t", " ")  # of click's own lists


def _sentence(message: str) -> str:
    """A message with a small first letter, unless it begins with a word in capitals."""
    first = message[:1].lower() if message[1:2].islower() else message[:1]
    end = "" if message.endswith(("?", ".", "…")) else "."
    return first + message[1:] + end
