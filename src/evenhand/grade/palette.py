"""A look towards the tone and palette of a reference still, by bounded moves only.

A reference still is a wish and not data: another scene, other light, other things in it. So nothing
is mapped onto it. Four numbers of both pictures are compared in Oklab (range of tones, black,
chroma of the middle, lean of near-neutral darks and lights), and a recipe goes half of the way,
within bounds that keep it healthy: it can be read and edited.
"""

from __future__ import annotations

from typing import Final

import msgspec
import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import EvenhandError
from evenhand.grade.moves import Middle, Operator, Tone
from evenhand.grade.operators import Lean, Saturation, SplitTone
from evenhand.grade.recipe import Recipe, checked
from evenhand.grade.uniform import OKLAB, chroma, grey_signal, signal_to_lab

_LEAST: Final = 500  # pixels
_HALF: Final = 0.5
_CONTRAST: Final = (0.85, 1.2)
_MIDDLE: Final = 0.05
_BLACK: Final = 0.06
_SATURATION: Final = (0.7, 1.2)
_LEAN: Final = 0.018
_NEUTRAL: Final = 0.06  # chroma
_KEEP_SKIN: Final = 0.7
# Lightness between which near-neutral pixels count as darks, and as lights.
_DARKS, _LIGHTS = (0.15, 0.45), (0.55, 0.92)


class PaletteError(EvenhandError):
    """A still that nothing can be told from."""


class Palette(msgspec.Struct, frozen=True, kw_only=True):
    """What is compared of a picture: grey signal of its tones, Oklab of its colours.

    `low`, `middle` and `high` are the 10th, 50th and 90th percentile of grey signal, `black` the
    1st; `chroma` the median; `dark` and `light` the median (a, b) of near-neutral pixels there, or
    None where there are too few.
    """

    black: float
    low: float
    middle: float
    high: float
    chroma: float
    dark: tuple[float, float] | None
    light: tuple[float, float] | None

    @property
    def contrast(self) -> float:
        """The range of tones between the 10th and the 90th percentile."""
        return max(self.high - self.low, 1e-3)


def palette_of(signal: Array) -> Palette:
    """The palette of a picture (..., 3) of display signal; PaletteError under 500 pixels."""
    lab = signal_to_lab(signal.reshape(-1, 3))
    if len(lab) < _LEAST:
        raise PaletteError("the still", f"it has {len(lab)} pixels", f"Give at least {_LEAST}")
    grey = grey_signal(lab)
    black, low, middle, high = (float(v) for v in np.percentile(grey, (1, 10, 50, 90)))
    return Palette(
        black=black,
        low=low,
        middle=middle,
        high=high,
        chroma=float(np.median(chroma(lab))),
        dark=_neutral(lab, *_DARKS),
        light=_neutral(lab, *_LIGHTS),
    )


def towards(picture: Palette, reference: Palette, name: str, title: str) -> Recipe:
    """The recipe that takes a picture half of the way to a reference's tone and palette."""
    ratio = (reference.contrast / picture.contrast) ** _HALF
    black = min(max(_HALF * (reference.black - picture.black), 0.0), _BLACK)
    middle = float(np.clip(0.25 * (reference.middle - picture.middle), -_MIDDLE, _MIDDLE))
    saturation = (max(reference.chroma, 2e-3) / max(picture.chroma, 2e-3)) ** _HALF
    saturation = float(np.clip(saturation, *_SATURATION))
    contrast = float(np.clip(ratio, *_CONTRAST))
    steps: list[Operator] = []
    if abs(middle) >= 0.004:
        steps.append(Middle(amount=round(middle, 3)))
    soft = 0.2 if contrast >= 1.0 else 0.1
    steps.append(Tone(contrast=round(contrast, 2), toe=soft, shoulder=soft, black=round(black, 3)))
    if abs(saturation - 1.0) >= 0.02:
        kept = round(saturation, 2)
        steps.append(Saturation(dark=kept, mid=kept, light=kept))
    dark = _lean(picture.dark, reference.dark)
    light = _lean(picture.light, reference.light)
    if dark or light:
        steps.append(SplitTone(dark=dark, light=light, keep_skin=_KEEP_SKIN))
    purpose = "Half of the way to the tone and the palette of a reference still."
    return checked(Recipe(name=name, title=title, purpose=purpose, steps=tuple(steps)))


def distance(one: Palette, other: Palette) -> dict[str, float]:
    """How far two palettes are apart, by what was compared, 0 where they agree."""
    found = {
        "contrast, ratio less 1": one.contrast / other.contrast - 1.0,
        "black, signal": one.black - other.black,
        "middle, signal": one.middle - other.middle,
        "chroma, ratio less 1": max(one.chroma, 2e-3) / max(other.chroma, 2e-3) - 1.0,
    }
    for zone, a, b in (("darks", one.dark, other.dark), ("lights", one.light, other.light)):
        if a is not None and b is not None:
            found[f"lean of {zone}, chroma"] = float(np.hypot(a[0] - b[0], a[1] - b[1]))
    return found


def _neutral(lab: Array, low: float, high: float) -> tuple[float, float] | None:
    here = lab[(lab[:, 0] > low) & (lab[:, 0] < high) & (chroma(lab) < _NEUTRAL)]
    if len(here) < max(50, len(lab) // 200):
        return None
    a, b = np.median(here[:, 1:], axis=0)
    return float(a), float(b)


def _lean(
    picture: tuple[float, float] | None, reference: tuple[float, float] | None
) -> Lean | None:
    if picture is None or reference is None:
        return None
    a, b = reference[0] - picture[0], reference[1] - picture[1]
    amount = min(_HALF * float(np.hypot(a, b)), _LEAN)
    if amount < 1e-3:
        return None
    hue = round(float(np.degrees(np.arctan2(b, a)) % 360.0), 0) % 360.0
    lean = Lean(hue=hue, amount=round(amount, 4))
    # What would fold colours near skin leans less: the still is a wish.
    while SplitTone(light=lean, keep_skin=_KEEP_SKIN).fault(OKLAB) and amount > 1e-3:
        amount *= 0.9
        lean = Lean(hue=hue, amount=round(amount, 4))
    return lean
