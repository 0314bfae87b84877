"""What a person set by hand on a clip, in words."""

from __future__ import annotations

from evenhand.grade.document import Adjustment
from evenhand.wording.figures import stops, white


def adjusted(made: Adjustment) -> list[tuple[str, str]]:
    """What an adjustment changes: each thing's name and its value; what is neutral is left out."""
    parts = [("exposure", stops(made.exposure))] if made.exposure else []
    if made.white is not None:
        parts.append(("white", white(made.white)))
    for name, neutral in (("slope", 1), ("offset", 0), ("power", 1)):
        numbers = getattr(made.cdl, name)
        if any(number != neutral for number in numbers):
            parts.append((name, ",".join(f"{number:g}" for number in numbers)))
    parts += [
        (name, f"{value:g}")
        for name, value in (("contrast", made.contrast), ("saturation", made.saturation))
        if value != 1
    ]
    return parts
