"""The health of a look, measured and written as a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from evenhand.atomic import write_whole
from evenhand.drawing.lookhealth import health_page
from evenhand.measure.health import SIZE, STRENGTHS, Health, health_of_parts, parts_of
from evenhand.measure.healthparts import AnyLook
from evenhand.measure.healthtraces import Traces, traces


@dataclass(frozen=True, slots=True)
class CheckedLook:
    """A look's health, and the curves and colours that its picture shows."""

    health: Health
    traces: tuple[Traces, ...]


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
