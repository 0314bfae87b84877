"""What an evenness record says, in figures and in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import msgspec

from evenhand.drawing.evenness_record import Evenness, EvennessPoint

Axis = Literal["stops", "mired", "duv"]


class Spread(msgspec.Struct, frozen=True):
    """Largest less smallest of one axis over the measured clips, before and after.

    In stops, mired or Duv. A clip whose `after` is missing counts as it was before: it was left as
    it is. None where fewer than two clips were measured.
    """

    before: float | None
    after: float | None


def measured(evenness: Evenness) -> list[EvennessPoint]:
    """The clips with a measured distance from the reference, in order."""
    return [p for p in evenness.clips if p.before_stops is not None]


def unmeasured(evenness: Evenness) -> list[EvennessPoint]:
    """The clips that share no view with the rest of the setup, in order."""
    return [p for p in evenness.clips if p.before_stops is None]


def value(point: EvennessPoint, axis: Axis, when: Literal["before", "after"]) -> float | None:
    """One figure of a point, by axis and time."""
    found: float | None = getattr(point, f"{when}_{axis}")
    return found


def spread(evenness: Evenness, axis: Axis) -> Spread:
    """How far the clips lie apart on one axis."""
    points = measured(evenness)
    before = [value(p, axis, "before") for p in points]
    after = [value(p, axis, "after") for p in points]
    kept = [b if a is None else a for a, b in zip(after, before, strict=True)]
    done = any(a is not None for a in after)
    return Spread(_extent(before), _extent(kept) if done else None)


def in_words(evenness: Evenness, axis: Literal["stops", "mired"]) -> str:
    """A sentence for people who do not see the chart."""
    found = spread(evenness, axis)
    lost = ", ".join(p.clip for p in unmeasured(evenness))
    tail = f" No shared view: {lost}." if lost else ""
    if found.before is None:
        return f"Too few measured clips to compare.{tail}"
    digits, unit = (2, "stop") if axis == "stops" else (1, "mired")
    what = "Exposure" if axis == "stops" else "White"
    words = f"{what} lies {found.before:.{digits}f} {unit} apart before levelling"
    if found.after is not None:
        words += f" and {found.after:.{digits}f} {unit} after"
    return f"{words}.{tail}"


def _extent(values: Iterable[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return max(known) - min(known) if len(known) > 1 else None
