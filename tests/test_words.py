"""Every word of the command line is written down with where it comes from."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import click
import pytest

from evenhand.cli.main import VERBS, evenhand
from evenhand.measure.decisions import Status
from evenhand.wording.levelling import status_words

PAGE = Path(__file__).parent.parent / "docs" / "words.md"


def commands(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    """Every verb with its own name, verbs of verbs included."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield " ".join((*path, name)), command
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))


COMMANDS = dict(commands(evenhand))


def written() -> dict[str, str]:
    """What stands in code marks on the page, by the heading that it stands under."""
    sections = re.split(r"^## ", PAGE.read_text("utf-8"), flags=re.MULTILINE)[1:]
    return {s.splitlines()[0]: " ".join(re.findall(r"`([^`]+)`", s)) for s in sections}


def test_every_verb_is_on_the_page() -> None:
    """A verb that is not explained is a word nobody chose."""
    words = written()["Verbs"].split()

    assert [name for path in COMMANDS if (name := path.split()[-1]) not in words] == []
    assert set(VERBS) <= set(COMMANDS)


@pytest.mark.parametrize("path", COMMANDS)
def test_every_option_is_on_the_page(path: str) -> None:
    """Options, long and short."""
    words = written()["Options"].split()
    options = [
        name
        for parameter in COMMANDS[path].params
        if isinstance(parameter, click.Option)
        for name in (*parameter.opts, *parameter.secondary_opts)
    ]

    assert [option for option in options if option not in words] == []


@pytest.mark.parametrize("path", COMMANDS)
def test_every_option_says_what_it_does(path: str) -> None:
    """No option without a line of help, no verb without an example."""
    command = COMMANDS[path]
    silent = [p.name for p in command.params if isinstance(p, click.Option) and not p.help]

    assert silent == []
    assert f"Example: evenhand {path}" in (command.epilog or "")


def test_names_that_a_person_types_are_on_the_page() -> None:
    """Encodings, output transforms, looks and specs, as the tables hold them."""
    from evenhand.colourmath.encodings import ENCODINGS
    from evenhand.grade.looks import LOOKS
    from evenhand.grade.output_transforms import OUTPUT_TRANSFORMS
    from evenhand.media.spec import spec_names

    words = written()["Names"].split()
    names = [*ENCODINGS, *OUTPUT_TRANSFORMS, *LOOKS, *spec_names()]

    assert [name for name in names if name not in words] == []


def test_every_status_of_a_clip_is_on_the_page() -> None:
    """What levelling says of a clip: the codes of the record, and what a person sees."""
    page = PAGE.read_text("utf-8")
    rows = page.split("## Status words")[1].split("## ")[0].splitlines()
    words = {
        word.strip() for row in rows for word in row.split("|")[1:2] for word in word.split(",")
    }

    statuses = [*get_args(Status), *(status_words(status) for status in get_args(Status))]

    assert [status for status in statuses if status not in words] == []


def test_no_option_is_written_down_that_does_not_exist() -> None:
    """The page does not outlive what it explains."""
    known = {o for c in COMMANDS.values() for p in c.params for o in (*p.opts, *p.secondary_opts)}
    known |= {"--help", "-h", "--version", "EVENHAND_TRACE"}
    ours = [w for w in written()["Options"].split() if w.startswith("-") or w.isupper()]

    assert [word for word in ours if word not in known] == []
