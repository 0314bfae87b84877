"""Options and value types that several verbs share."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

shoot_option: Decorator = click.option(
    "--shoot",
    "shoot_dir",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The shoot to work on (default: the one in this folder).",
)
json_option: Decorator = click.option(
    "--json", "as_json", is_flag=True, help="One JSON document on stdout."
)


class Strength(click.ParamType[float]):
    """A share written 70% or 0.7."""

    name = "strength"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        if isinstance(value, float):
            return value
        match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*(%?)\s*", str(value))
        if match is None:
            self.fail(f"a strength is written 70% or 0.7, not {value!r}.", param, ctx)
        share = float(match[1]) / (100 if match[2] else 1)
        if not 0 <= share <= 1:
            self.fail(f"a strength goes from 0% to 100%, not {value}.", param, ctx)
        return share


class At(click.ParamType[str]):
    """A time in a clip: 3s, 75f or 00:00:03:00. Kept as text, since frames need the rate."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        text = str(value).strip()
        if not re.fullmatch(r"\d+(\.\d+)?s?|\d+f|\d\d:\d\d:\d\d[:;]\d\d", text):
            self.fail(f"a time is written 3s, 75f or 00:00:03:00, not {value!r}.", param, ctx)
        return text


def seconds(text: str, rate: Fraction) -> Fraction:
    """A time as written, in seconds from the clip's first frame; frames count at `rate`."""
    if text.endswith("f"):
        return int(text[:-1]) / rate
    if ":" in text:
        hours, minutes, secs, frames = (int(part) for part in re.split("[:;]", text))
        return Fraction(hours * 3600 + minutes * 60 + secs) + frames / rate
    return Fraction(text.removesuffix("s"))


def pair(text: str, option: str, form: str) -> tuple[str, str]:
    """`NAME=VALUE` apart. Raises a usage error that shows the form."""
    name, sign, value = text.rpartition("=")
    if not (sign and name and value):
        raise click.BadParameter(f"write {form}, not {text!r}.", param_hint=option)
    return name, value
