"""How a job tells what it is doing, so that a face can show it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One moment of a long job: `done` of `total` units, on one clip of `clips`."""

    job: str
    clip: str
    number: int
    clips: int
    done: int = 0
    total: int = 0
    unit: str = "frames"


Progress = Callable[[Step], None]


def silent(_step: Step) -> None:
    """Progress that nobody watches."""
