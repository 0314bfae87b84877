"""A reading: something that is measured once and remembered, declared in one place.

What is kept stands under the reading's name, its number, and what else it depends on. The number is
raised whenever the same clip would be read otherwise; a test keeps a digest of the code that makes
the reading, and of what that calls in this package, and fails where the code changed alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar

import msgspec

from evenhand.shoot.measurements import Measurements

Kept = TypeVar("Kept")
READINGS: Final[dict[str, Reading[Any]]] = {}


def digest(*parts: Any) -> str:
    """A short name for anything that can be written down."""
    return hashlib.sha256(msgspec.json.encode(parts)).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Reading(Generic[Kept]):
    """`name` begins what is kept; `record` is its shape; `code` is "module:name" of what makes it.

    `code` names functions or classes: all that they call in this package counts with them.
    """

    name: str
    number: int
    record: type[Kept]
    code: tuple[str, ...]

    def __post_init__(self) -> None:
        READINGS[self.name] = self

    def kind(self, *depends: Any) -> str:
        """What it is kept under, beside a fingerprint."""
        return f"{self.name} {self.number} {digest(*depends)}"

    def recall(self, measurements: Measurements, mark: str, *depends: Any) -> Kept | None:
        """What was kept of a file (its fingerprint), or None."""
        return measurements.recall(mark, self.kind(*depends), self.record)

    def keep(self, measurements: Measurements, mark: str, kept: Kept, *depends: Any) -> None:
        """Keep what was read."""
        measurements.keep(mark, self.kind(*depends), kept)

    def of(
        self, measurements: Measurements, mark: str, make: Callable[[], Kept], *depends: Any
    ) -> Kept:
        """What was kept, or else what `make` gives, which is kept then."""
        kept = self.recall(measurements, mark, *depends)
        if kept is None:
            kept = make()
            self.keep(measurements, mark, kept, *depends)
        return kept
