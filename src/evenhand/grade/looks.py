"""The looks that evenhand brings: each a short chain of operators on the display signal."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import UsageError
from evenhand.grade.display_limit import into_display
from evenhand.grade.operators import (
    GAMMA,
    Density,
    Middle,
    Mix,
    Operator,
    Print,
    Saturation,
    SplitTone,
    Tone,
    Turn,
    lab_to_light,
    signal_to_lab,
)

SPACE: Final = "bt709-display"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A look: what it is for, and a function on the signal of the space it is made for.

    `space` "bt709-display" is R'G'B' 0..1 of a BT.709 display, BT.1886 with a black of 0.
    `is_neutral` says that greys stay grey; where it is False the look tints them on purpose.
    `steps` are applied in order; colours that the display cannot show are then drawn in along
    lightness and hue.
    """

    name: str
    title: str
    purpose: str
    steps: tuple[Operator, ...]
    is_neutral: bool
    space: str = SPACE

    @property
    def moves(self) -> tuple[str, ...]:
        """What the look does, a step a line, in words and numbers."""
        return tuple(step.says for step in self.steps)

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape, float64, 0..1; input beyond 0..1 is cut."""
        values = np.asarray(signal, np.float64)
        lab = signal_to_lab(values.reshape(-1, 3))
        for step in self.steps:
            lab = step(lab)
        signal_out: Array = into_display(lab_to_light(lab)) ** (1.0 / GAMMA)
        return signal_out.reshape(values.shape)


_ROWS: Final = (
    Look(
        name="oven-light",
        title="Oven light",
        purpose="Warm rooms and faces: lights like a lamp-lit wall, brown darks, quieter blues.",
        is_neutral=False,
        steps=(
            Tone(contrast=1.10, pivot=0.48, toe=0.40, shoulder=0.50),
            Turn(hue=250, half_width=65, turn=-6, chroma=0.74, lightness=-0.010),
            Turn(hue=140, half_width=55, turn=-10, chroma=0.82, lightness=-0.010),
            SplitTone(dark=(55, 0.008), light=(76, 0.018), keep_skin=0.55),
            Density(amount=0.05),
        ),
    ),
    Look(
        name="daybreak",
        title="Daybreak",
        purpose="Cool shadows against warm lights, so that people and lamps stand out of a place.",
        is_neutral=False,
        steps=(
            Tone(contrast=1.14, pivot=0.50, toe=0.40, shoulder=0.50),
            Turn(hue=250, half_width=65, turn=-14, chroma=0.96, lightness=-0.012),
            Turn(hue=140, half_width=60, turn=12, chroma=0.78, lightness=-0.010),
            SplitTone(dark=(228, 0.018), light=(72, 0.013), balance=0.50, keep_skin=0.75),
            Density(amount=0.05),
        ),
    ),
    Look(
        name="parchment",
        title="Parchment",
        purpose="A soft print: rounded ends, blacks a little open, rich but never loud colours.",
        is_neutral=False,
        steps=(
            Print(gamma=0.90, crosstalk=0.20, amount=0.65),
            Middle(amount=0.015),
            Tone(contrast=0.92, pivot=0.50, toe=0.0, shoulder=0.35, black=0.030, white=0.975),
            Saturation(dark=0.80, mid=0.94, light=0.86),
            SplitTone(dark=(195, 0.006), light=(85, 0.012), keep_skin=0.60),
            Density(amount=0.05),
        ),
    ),
    Look(
        name="rye",
        title="Rye",
        purpose="A muted documentary: honest tones, low colour, room in the darks, calm greens.",
        is_neutral=True,
        steps=(
            Tone(contrast=1.02, pivot=0.50, toe=0.10, shoulder=0.45, black=0.015),
            Saturation(dark=0.62, mid=0.72, light=0.62),
            Turn(hue=135, half_width=60, turn=-8, chroma=0.84),
            Turn(hue=250, half_width=60, turn=-6, chroma=0.90),
            Turn(hue=50, half_width=48, chroma=1.10),
        ),
    ),
    Look(
        name="small-hours",
        title="Small hours",
        purpose="Night: deep blue darks, dimmed middle, lamps and skin that keep their warmth.",
        is_neutral=False,
        steps=(
            Middle(amount=-0.045),
            Tone(contrast=1.12, pivot=0.53, toe=0.35, shoulder=0.30),
            SplitTone(dark=(256, 0.020), light=(80, 0.006), balance=0.50, keep_skin=0.85),
            Saturation(dark=0.86, mid=0.88, light=1.00),
            Turn(hue=250, half_width=65, turn=4, chroma=1.05, lightness=-0.012),
            Density(amount=0.04),
        ),
    ),
    Look(
        name="soot",
        title="Soot",
        purpose="Black and white with luminous skin, dark skies and a full, soft-ended scale.",
        is_neutral=True,
        steps=(
            Mix(red=0.40, green=0.50, blue=0.10),
            Middle(amount=0.012),
            Tone(contrast=1.18, pivot=0.50, toe=0.30, shoulder=0.40),
        ),
    ),
)
LOOKS: Final[Mapping[str, Look]] = MappingProxyType({look.name: look for look in _ROWS})


def look_named(name: str) -> Look:
    """The look of that name; UsageError with the names, and the nearest, if there is none."""
    try:
        return LOOKS[name]
    except KeyError:
        near = difflib.get_close_matches(name.strip().lower().replace(" ", "-"), LOOKS, n=1)
        guess = f"Did you mean {near[0]}? " if near else ""
        known = ", ".join(LOOKS)
        raise UsageError(name, "no look has this name", f"{guess}The looks are: {known}") from None


def blend(signal: Array, look: Look, strength: float) -> Array:
    """signal + strength · (look(signal) − signal), in the signal of the look's space.

    `strength` 0..1 (UsageError beyond). 0 gives the signal itself, bit by bit, and 1 the look.
    """
    if not 0.0 <= strength <= 1.0:
        raise UsageError(
            f"strength {strength:g}", "is outside 0 to 1", "Give a strength from 0 % to 100 %"
        )
    values = np.asarray(signal, np.float64)
    if strength == 0.0:
        return values
    looked = look.apply(values)
    return looked if strength == 1.0 else values + strength * (looked - values)
