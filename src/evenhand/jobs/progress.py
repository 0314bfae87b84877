"""How a job tells what it is doing, so that a face can show it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from evenhand.reasons import Reason


@dataclass(frozen=True, slots=True)
class Step:
    """One moment of a long job: `done` of `total` units, on one clip of `clips`.

    `why` is what it waits for, where it does not go on at once.
    """

    job: str
    clip: str
    number: int
    clips: int
    done: int = 0
    total: int = 0
    unit: str = "frames"
    why: Reason | None = None


Progress = Callable[[Step], None]


def silent(_step: Step) -> None:
    """Progress that nobody watches."""
