"""The health of a look, measured and written as a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import msgspec

from evenhand.atomic import write_whole
from evenhand.drawing.lookhealth import health_page
from evenhand.jobs.look import LookFacts, facts_of
from evenhand.jobs.looks import find_look
from evenhand.luts.declared import Declared
from evenhand.measure.looks.health import (
    SIZE,
    STRENGTHS,
    Health,
    at_strengths,
    health_of_parts,
    parts_of,
)
from evenhand.measure.looks.parts import AnyLook
from evenhand.measure.looks.traces import Traces, traces
from evenhand.media.target import check_target, made_folder


@dataclass(frozen=True, slots=True)
class CheckedLook:
    """A look's health, and the curves and colours that its picture shows."""

    health: Health
    traces: tuple[Traces, ...]


class Checkup(msgspec.Struct, frozen=True):
    """A look's health, what it is and where it belongs, and the page of it where one was asked for.

    `fails`: a test fails at the greatest strength, or the look is declared for another signal than
    its values are made for.
    """

    health: Health
    facts: LookFacts
    fails: bool
    page: str | None = None


def check_named(
    name: str,
    declared: Declared | None = None,
    correction: str | None = None,
    *,
    strengths: Sequence[float] = (),
    to: Path | None = None,
    overwrite: bool = False,
) -> Checkup:
    """Check a look by name or file at some strengths (50, 70 and 100 % if none is said).

    The page is written into folder `to` as NAME.check.html. Raises UsageError for a name that is
    no look, LookFileError for a file that cannot be read, TargetError for a place that cannot take
    the page.
    """
    found = find_look(name, declared, correction)
    page = None if to is None else made_folder(to) / f"{found.name}.check.html"
    if page is not None:
        check_target(page, overwrite=overwrite)
    look = cast(AnyLook, found.look)  # every kind that a file can hold has a name
    asked = set(strengths or STRENGTHS)
    # Whether it is black and white, and so what it is asked, shows at full strength alone.
    whole = check_look(look, strengths=sorted(asked | {1.0}))
    kept = tuple(each for each in whole.traces if each.strength in asked)
    checked = CheckedLook(at_strengths(whole.health, asked), kept)
    if page is not None:
        write_page(checked, page)
    facts = facts_of(found, declared)
    fails = checked.health.verdict == "fail" or facts.placing.verdict == "disagrees"
    return Checkup(checked.health, facts, fails, None if page is None else str(page))


def check_look(
    look: AnyLook, size: int = SIZE, strengths: Sequence[float] = STRENGTHS
) -> CheckedLook:
    """Measure a look; its table is taken with size³ nodes, and of a look that is one at its own.

    `strengths` rise within 0..1. Raises UsageError when the look's space has no name.
    """
    parts = parts_of(look, size, strengths)
    return CheckedLook(health_of_parts(look, parts), traces(parts))


def write_page(checked: CheckedLook, path: Path) -> None:
    """The page of a look's health; a file of that name is replaced whole."""
    write_whole(path, health_page(checked.health, checked.traces).encode())
