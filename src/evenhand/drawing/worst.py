"""What an evenness record says, in figures and in words."""

from __future__ import annotations

from typing import Literal

import msgspec

from evenhand.measure.decisions import Evenness, EvennessPoint, Spread

Axis = Literal["stops", "mired"]


class Worst(msgspec.Struct, frozen=True):
    """Distance of the clip furthest from the reference, before and after, in stops or mired.

    None where nothing was measured, or nothing was levelled yet.
    """

    before: float | None
    after: float | None


def measured(evenness: Evenness) -> list[EvennessPoint]:
    """The clips with a measured distance from the reference, in order."""
    return [p for p in evenness.clips if p.before is not None]


def unmeasured(evenness: Evenness) -> list[EvennessPoint]:
    """The clips that share no view with the rest of the place, in order."""
    return [p for p in evenness.clips if p.before is None]


def worst(evenness: Evenness, axis: Axis) -> Worst:
    """How far the clips of a place lie from their reference on one axis."""
    return Worst(_on(evenness.before, axis), _on(evenness.after, axis))


def in_words(evenness: Evenness, axis: Axis) -> str:
    """A sentence for people who do not see the chart."""
    found = worst(evenness, axis)
    lost = ", ".join(p.clip for p in unmeasured(evenness))
    tail = f" No shared view: {lost}." if lost else ""
    if found.before is None:
        return f"Too few measured clips to compare.{tail}"
    digits, unit = (2, "stops") if axis == "stops" else (1, "mired")
    what = "exposure" if axis == "stops" else "white"
    words = (
        f"The {what} furthest from the reference is {found.before:.{digits}f} {unit} off as shot"
    )
    if found.after is not None:
        words += f" and {found.after:.{digits}f} {unit} once levelled"
    return f"{words}.{tail}"


def _on(found: Spread | None, axis: Axis) -> float | None:
    if found is None:
        return None
    return found.worst_stops if axis == "stops" else found.worst_mired
