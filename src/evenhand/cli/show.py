"""What a person sees on the terminal: tables, progress with time left, JSON."""

from __future__ import annotations

import json
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from evenhand.names import kept_path, shown
from evenhand.wording.figures import plain

if TYPE_CHECKING:
    from evenhand.jobs.progress import Progress, Step


def json_out(result: Any) -> None:
    """One JSON document on stdout, in letters that do nothing to a terminal.

    Names that are no UTF-8 are written as the shoot's document holds them (`names.kept_path`): JSON
    has no other way to hold them. Every other sign without a picture is an escape of JSON itself.
    """
    import msgspec

    built = _in_unicode(msgspec.to_builtins(result))
    text = msgspec.json.format(msgspec.json.encode(built), indent=2).decode()
    click.echo("\n".join(_json_escaped(part) for part in text.split("\n")))


def _in_unicode(value: Any) -> Any:
    """The value with every text in it one that UTF-8 can hold."""
    if isinstance(value, str):
        return kept_path(value) if any("\ud800" <= c <= "\udfff" for c in value) else value
    if isinstance(value, dict):
        return {_in_unicode(name): _in_unicode(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_in_unicode(part) for part in value]
    return value


def _json_escaped(text: str) -> str:
    """JSON with each sign that `shown` would escape as an escape of JSON."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if shown(c) == c else json.dumps(c)[1:-1] for c in text)


def line(text: str = "") -> None:
    """A line of the result, on stdout."""
    click.echo(said(text))


def note(text: str) -> None:
    """A line about the result, on stderr."""
    click.echo(said(text), err=True)


def said(text: str) -> str:
    """One line as a terminal may have it: signs of a keyboard, and none that does anything."""
    return shown(plain(text))


def table(
    headings: list[str],
    rows: list[list[str]],
    right: tuple[int, ...] = (),
    spare: tuple[int, ...] = (),
) -> None:
    """A table on stdout, no wider than the terminal; whole where stdout is not one.

    `right` are columns of figures, `spare` those that leave first where there is no room.
    """
    from evenhand.cli.table import Table

    terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if terminal else None
    rows = [[said(cell) for cell in row] for row in rows]
    lines, left_out = Table(headings, rows, right, spare).fitted(width)
    click.echo(click.style(lines[0], bold=True) if terminal else lines[0])
    for text in lines[1:]:
        click.echo(text)
    if left_out:
        note(f"no room for: {', '.join(left_out)} (a wider terminal or --json shows it)")


def paragraph(text: str, indent: str = "  ") -> None:
    """Words on stdout, wrapped to the terminal; one line where stdout is not one."""
    from textwrap import fill

    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns
        text = fill(
            said(text),
            width,
            initial_indent=indent,
            subsequent_indent=indent + "  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        click.echo(text)
    else:
        click.echo(indent + said(text))


@contextmanager
def progress(quiet: bool = False) -> Iterator[Progress]:
    """Progress on stderr: a live line on a terminal, a line per clip and job elsewhere."""
    from evenhand.jobs.progress import silent

    if quiet:
        yield silent
    elif sys.stderr.isatty():
        with _live() as show:
            yield show
    else:
        yield _Lines()


@contextmanager
def _live() -> Iterator[Progress]:
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bars

    from evenhand.wording.saying import clause

    columns = (
        TextColumn("{task.fields[job]:>8}"),
        TextColumn("{task.description}"),
        BarColumn(24),
        TextColumn("{task.fields[count]}"),
        TextColumn("{task.fields[left]}"),
    )
    with Bars(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task("", job="", count="", left="", total=1.0)
        state = _Speed()

        def show(step: Step) -> None:
            if step.why is not None:
                bars.console.print(said(clause(step.why)), markup=False, highlight=False)
                return
            state.fresh(step)
            counted = f"{step.done}/{step.total} {state.text(step)}" if step.total > 1 else ""
            bars.update(
                task,
                completed=state.share(step),
                description=escape(f"{said(step.clip)} ({step.number}/{step.clips})"),
                job=step.job,
                count=counted.rstrip(),
                left=state.left(step),
            )

        yield show


class _Speed:
    """Frames a second of the present clip, and time left of the whole job."""

    def __init__(self) -> None:
        self.key: tuple[str, str] = ("", "")
        self.began = self.job_began = 0.0

    def fresh(self, step: Step) -> bool:
        """Note a step; whether it is the first of its clip."""
        if (step.job, step.clip) == self.key:
            return False
        now = time.monotonic()
        if step.job != self.key[0] and "verify" not in (step.job, self.key[0]):
            self.job_began = now  # reading a master back is a part of making it
        self.key, self.began = (step.job, step.clip), now
        return True

    def text(self, step: Step) -> str:
        """Frames a second, once there are enough to tell."""
        spent = time.monotonic() - self.began
        if step.unit != "frames" or step.done < 2 or spent < 0.2:
            return ""
        return f"{step.done / spent:.1f} frames/s"

    def share(self, step: Step) -> float:
        """How much of the job is done, 0..1; clips count alike."""
        within = step.done / step.total if step.total else 0.0
        if step.job == "verify":
            within = 1.0
        return (step.number - 1 + within) / step.clips

    def left(self, step: Step) -> str:
        """Time left of the job, once a fiftieth of it is done."""
        share, spent = self.share(step), time.monotonic() - self.job_began
        if share < 0.02 or spent < 1:
            return ""
        return f"{duration(spent / share - spent)} left"


class _Lines:
    """For logs and pipes: a line when a clip begins and one when it is done."""

    def __init__(self) -> None:
        self.speed = _Speed()

    def __call__(self, step: Step) -> None:
        if step.why is not None:
            from evenhand.wording.saying import clause

            note(clause(step.why))
            return
        if step.job == "verify":
            return
        first = self.speed.fresh(step)
        finished = step.total > 0 and step.done >= step.total
        if finished and step.total > 1:
            speed = self.speed.text(step)
            note(f"{step.job}: {step.clip} ({step.number} of {step.clips}) {speed}".rstrip())
        elif first and step.total <= 1:
            note(f"{step.job}: {step.clip} ({step.number} of {step.clips})")


def duration(spent: float) -> str:
    """Seconds as a person says them."""
    if spent < 60:
        return f"{spent:.1f} s"
    minutes, rest = divmod(round(spent), 60)
    return (
        f"{minutes} min {rest:02d} s"
        if minutes < 60
        else f"{minutes // 60} h {minutes % 60:02d} min"
    )


def shares(job: str, progress: Progress) -> Callable[[str, float], None]:
    """Progress told as (what was finished, share done) as steps of one job."""
    from evenhand.jobs.progress import Step

    def told(what: str, share: float) -> None:
        progress(Step(job, what, 1, 1, round(1000 * share), 1000, unit="parts"))

    return told
