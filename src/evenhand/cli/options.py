"""Options and value types that several verbs share."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from evenhand.names import brief

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

shoot_option: Decorator = click.option(
    "--shoot",
    "shoot_dir",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The shoot to work on (default: the one in this folder).",
)
json_option: Decorator = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as one JSON document."
)

overwrite_option: Decorator = click.option(
    "--overwrite", is_flag=True, help="Replace files of the same name."
)
damaged_option: Decorator = click.option(
    "--allow-damaged", is_flag=True, help="Master what is there of a damaged clip."
)
quality_option: Decorator = click.option(
    "--quality", metavar="LEVEL", help="draft, good or best (default: the spec's own)."
)
new_shoot_option: Decorator = click.option(
    "--shoot",
    "shoot_dir",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Where decisions are kept (default: <card name>.shoot in this folder).",
)


# Python's own readers take 1_0, digits of any script, and thousands of them.
_DECIMAL = re.compile(r"[+-]?([0-9]{1,30}(\.[0-9]{0,30})?|\.[0-9]{1,30})([eE][+-]?[0-9]{1,3})?")
_TIME = re.compile(
    r"[0-9]{1,9}(\.[0-9]{1,30})?s?|[0-9]{1,12}f|[0-9][0-9]:[0-9][0-9]:[0-9][0-9][:;][0-9][0-9]"
)


def given(value: object) -> str:
    """What was given, as a message repeats it: in quotes, and not thousands of letters."""
    return repr(brief(str(value)))


def decimal(text: str) -> float | None:
    """A number written in digits as 5, -0.3, .5 or 1e-3; None for every other writing."""
    return float(text) if _DECIMAL.fullmatch(text.strip()) else None


class Strength(click.ParamType[float]):
    """A share written 70% or 0.7; `what` is what a refusal calls it."""

    name = "strength"

    def __init__(self, what: str = "a strength") -> None:
        self.what = what

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        if isinstance(value, float):
            return value
        match = re.fullmatch(r" *([0-9]*\.?[0-9]+) *(%?) *", str(value))
        if match is None:
            self.fail(f"{self.what} is written 70% or 0.7, not {given(value)}.", param, ctx)
        share = float(match[1]) / (100 if match[2] else 1)
        if not 0 <= share <= 1:
            meant = f" Did you mean {brief(value)}%?" if not match[2] and share <= 100 else ""
            self.fail(f"{self.what} goes from 0% to 100%, not {brief(value)}.{meant}", param, ctx)
        return share


chart_option: Decorator = click.option(
    "--chart/--no-chart",
    "use_charts",
    default=None,
    help="Look for a 24-patch chart, or do not (default: as before; at first, look).",
)
steadying_option: Decorator = click.option(
    "--steadying/--no-steadying",
    "steady",
    default=None,
    help="Even out light that changes by itself inside a clip, or leave it (default: as before; "
    "at first, even it out).",
)
warmth_option: Decorator = click.option(
    "--keep-warmth",
    type=Strength("a share of warmth"),
    metavar="30%",
    help="Leave this share of the light's warmth in, where a chart or a grey card sets the white "
    "(default: as before; at first 0%).",
)


class At(click.ParamType[str]):
    """A time in a clip: 3s, 75f or 00:00:03:00. Kept as text, since frames need the rate."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        text = str(value).strip()
        if not _TIME.fullmatch(text):
            self.fail(f"a time is written 3s, 75f or 00:00:03:00, not {given(value)}.", param, ctx)
        return text


class Number(click.ParamType[float]):
    """A finite number within bounds, with its unit."""

    name = "number"

    def __init__(self, low: float, high: float, unit: str = "") -> None:
        self.low, self.high, self.unit = low, high, unit and f" {unit}"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        bounds = f"{self.low:g} to {self.high:g}{self.unit}"
        number = decimal(str(value))
        if number is None:
            self.fail(f"{given(value)} is no number; write one from {bounds}.", param, ctx)
        if not self.low <= number <= self.high:  # nan lies in no range either
            self.fail(f"{brief(str(value))} is outside {bounds}.", param, ctx)
        return number


def seconds(text: str, rate: Fraction) -> Fraction:
    """A time as written, in seconds from the clip's first frame; frames count at `rate`.

    A timecode counts frames at the whole rate next to `rate`, as SMPTE ST 12-1 does; with a
    semicolon it is a drop-frame one, which leaves out two numbers (at 60, four) in every minute
    but each tenth. Raises a usage error for a timecode that the rate does not have.
    """
    if text.endswith("f"):
        return int(text[:-1]) / rate
    if ":" not in text:
        return Fraction(text.removesuffix("s"))
    hours, minutes, secs, frames = (int(part) for part in re.split("[:;]", text))
    whole = round(rate)
    if frames >= whole or secs > 59 or minutes > 59:
        raise click.BadParameter(
            f"at {whole} frames a second a timecode ends in 59:{whole - 1:02d}, not {text[6:]!r}.",
            param_hint="'--at'",
        )
    number = (hours * 3600 + minutes * 60 + secs) * whole + frames
    if ";" in text and rate != whole:
        passed = hours * 60 + minutes
        number -= round(whole / 15) * (passed - passed // 10)
    return number / rate


def pair(text: str, option: str, form: str) -> tuple[str, str]:
    """`NAME=VALUE` apart. Raises a usage error that shows the form."""
    name, sign, value = text.rpartition("=")
    if not (sign and name and value):
        raise click.BadParameter(f"write {form}, not {given(text)}.", param_hint=f"'{option}'")
    return name, value
