"""The moves of colour that display looks are made of: small pure functions on an even space.

Colours are (..., 3) float64 as `uniform` says: lightness 0..1 and two opponent values, in Oklab or
in IPT form. Every move is twice continuously differentiable inside the display's range, and within
the ranges written at its fields it folds no colours over each other; none but `SplitTone` moves
grey off the axis. The one limit that the display forces is `into_display`, which is smooth as well.
"""

from __future__ import annotations

from typing import Annotated, Final

import msgspec
import numpy as np
from msgspec import Meta

from evenhand.colourmath.curves import Array
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.white import white_xy
from evenhand.grade.moves import Move
from evenhand.grade.uniform import (
    OKLAB,
    Model,
    hue_name,
    hue_weight,
    lab_to_light,
    light_to_lab,
    skin_steepness,
    skin_weight,
    smooth_step,
    zone_lightness,
)

MOST_LEAN: Final = 0.025
_MOST_TURN: Final = 0.4


class Lean(msgspec.Struct, frozen=True, kw_only=True):
    """Where a zone of tones leans: by `hue` (degrees of the model) and `amount` of its chroma, or
    as a neutral leans in a light of `kelvin` and `duv` that is seen as D65 is.
    """

    hue: Annotated[float, Meta(ge=0.0, le=360.0)] | None = None
    amount: Annotated[float, Meta(ge=0.0, le=MOST_LEAN)] | None = None
    kelvin: Annotated[float, Meta(ge=2000.0, le=25000.0)] | None = None
    duv: Annotated[float, Meta(ge=-0.02, le=0.02)] | None = None

    def fault(self) -> str:
        """What is missing or too much; empty if nothing."""
        by_hue = (self.hue is not None, self.amount is not None)
        if self.kelvin is None:
            extra = self.duv is not None
            return "" if all(by_hue) and not extra else "a lean takes hue and amount, or kelvin"
        return "a lean by kelvin takes no hue and no amount" if any(by_hue) else ""

    def offset(self, lightness: float, model: Model) -> tuple[float, float]:
        """Hue in degrees and chroma to add at that lightness of the model."""
        if self.kelvin is None:
            return self.hue or 0.0, self.amount or 0.0
        x, y = white_xy(self.kelvin, self.duv or 0.0)
        light = np.linalg.solve(rgb_to_xyz("bt709"), np.array([x / y, 1.0, (1.0 - x - y) / y]))
        whole, a, b = light_to_lab(light, model)
        a, b = a * lightness / whole, b * lightness / whole
        return float(np.degrees(np.arctan2(b, a)) % 360.0), float(np.hypot(a, b))

    def words(self, lightness: float, model: Model) -> str:
        """The lean as a person reads it."""
        hue, amount = self.offset(lightness, model)
        by = "" if self.kelvin is None else f" (a light of {self.kelvin:.0f} K"
        by += f", Duv {self.duv:+.4f}" if self.duv else ""
        return f"{amount:.3f} towards {hue_name(hue, model)}{by}{')' if by else ''}"


_DARK_AT, _LIGHT_AT = 0.30, 0.75


class SplitTone(Move, frozen=True, kw_only=True, tag="split-tone"):
    """Leans darks and lights towards a hue each; both fade to nothing at black and at white.

    `balance` is the lightness where they meet, `keep_skin` 0..1 spares skin hues. A lean by kelvin
    is that of a grey of lightness 0.30 (darks) or 0.75 (lights).
    """

    dark: Lean | None = None
    light: Lean | None = None
    balance: Annotated[float, Meta(ge=0.3, le=0.7)] = 0.5
    keep_skin: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.6

    def words(self, model: Model = OKLAB) -> str:
        darks = f"darks lean {self.dark.words(_DARK_AT, model)}" if self.dark else ""
        lights = f"lights lean {self.light.words(_LIGHT_AT, model)}" if self.light else ""
        parts = ", ".join(part for part in (darks, lights) if part)
        return f"{parts or 'leans by 0'} (skin spared by {self.keep_skin:.0%})"

    @property
    def is_neutral(self) -> bool:
        leans = ((self.dark, _DARK_AT), (self.light, _LIGHT_AT))
        return all(lean is None or lean.offset(at, OKLAB)[1] < 1e-9 for lean, at in leans)

    def fault(self, model: Model) -> str:
        for name, lean, at in (("dark", self.dark, _DARK_AT), ("light", self.light, _LIGHT_AT)):
            if lean is None:
                continue
            if lean.fault():
                return f"{name}: {lean.fault()}"
            hue, amount = lean.offset(at, model)
            if amount > MOST_LEAN:
                return f"{name}: it leans by {amount:.3f} of chroma, at most {MOST_LEAN} is allowed"
            folds_from = 0.9 / skin_steepness(float(round(hue) % 360), model.name)
            if amount * self.keep_skin > folds_from:
                most = folds_from / amount
                return f"{name}: sparing skin by over {most:.2f} would fold colours near skin"
        return ""

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        lightness = zone_lightness(lab, model)
        fade = smooth_step(lightness / 0.32) * smooth_step((1.0 - lightness) / 0.25)
        up = smooth_step((lightness - self.balance + 0.35) / 0.7)
        fade = fade * (1.0 - self.keep_skin * skin_weight(lab, model))
        out = lab.copy()
        zones = ((self.dark, _DARK_AT, 1.0 - up), (self.light, _LIGHT_AT, up))
        for lean, at, weight in zones:
            if lean is None:
                continue
            degrees, amount = lean.offset(at, model)
            hue = np.radians(degrees)
            out[..., 1] += amount * np.cos(hue) * weight * fade
            out[..., 2] += amount * np.sin(hue) * weight * fade
        return out


class Turn(Move, frozen=True, kw_only=True, tag="turn"):
    """Moves the colours about one hue: by `turn` degrees, `chroma` times, `lightness` up or down.

    Grey is a fixed point: the move grows with C²/(C² + 0.03²). Hues keep their order while
    |turn| < 0.49 · half_width; 0.4 is allowed.
    """

    hue: Annotated[float, Meta(ge=0.0, le=360.0)]
    half_width: Annotated[float, Meta(ge=40.0, le=120.0)]
    turn: Annotated[float, Meta(ge=-48.0, le=48.0)] = 0.0
    chroma: Annotated[float, Meta(ge=0.6, le=1.3)] = 1.0
    lightness: Annotated[float, Meta(ge=-0.05, le=0.05)] = 0.0

    def words(self, model: Model = OKLAB) -> str:
        parts = [f"turned {self.turn:+.0f}°"] if self.turn else []
        parts += [f"chroma × {self.chroma:.2f}"] if self.chroma != 1.0 else []
        parts += [f"lightness {self.lightness:+.3f}"] if self.lightness else []
        return (
            f"{hue_name(self.hue, model)} ± {self.half_width:.0f}°: {', '.join(parts) or 'as is'}"
        )

    def fault(self, model: Model) -> str:
        del model
        most = _MOST_TURN * self.half_width
        if abs(self.turn) <= most:
            return ""
        return f"turn {self.turn:g} would fold hues: ±{most:g} is allowed at this half_width"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        lightness, chroma2 = zone_lightness(lab, model), lab[..., 1] ** 2 + lab[..., 2] ** 2
        weight = hue_weight(lab, self.hue, self.half_width) * chroma2 / (chroma2 + 0.03**2)
        angle, gain = np.radians(self.turn) * weight, self.chroma**weight
        cos, sin = gain * np.cos(angle), gain * np.sin(angle)
        lift = 4.0 * self.lightness * weight * lightness * (1.0 - lightness)
        a, b = lab[..., 1], lab[..., 2]
        return np.stack([lab[..., 0] + lift, a * cos - b * sin, a * sin + b * cos], axis=-1)


class Saturation(Move, frozen=True, kw_only=True, tag="saturation"):
    """Chroma factors for darks, mid tones and lights; growth bends off in strong colours."""

    dark: Annotated[float, Meta(ge=0.0, le=1.3)] = 1.0
    mid: Annotated[float, Meta(ge=0.0, le=1.3)] = 1.0
    light: Annotated[float, Meta(ge=0.0, le=1.3)] = 1.0

    def words(self, model: Model = OKLAB) -> str:
        del model
        rest = f"{self.mid:.2f} in mid tones, {self.light:.2f} in lights"
        return f"chroma × {self.dark:.2f} in darks, {rest}"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        lightness = zone_lightness(lab, model)
        up, down = smooth_step((lightness - 0.55) / 0.4), smooth_step((0.5 - lightness) / 0.4)
        factor = self.mid + (self.light - self.mid) * up + (self.dark - self.mid) * down
        chroma2 = lab[..., 1] ** 2 + lab[..., 2] ** 2
        # where the factor is over 1 the excess shrinks with chroma; 1 is met with all derivatives
        excess = factor - 1.0
        grown = 1.0 + excess / (1.0 + smooth_step(excess / 0.1) * chroma2 / 0.3**2)
        return np.concatenate([lab[..., :1], lab[..., 1:] * grown[..., None]], axis=-1)


class Density(Move, frozen=True, kw_only=True, tag="density"):
    """Saturated colours get darker, as dyes do: L × (1 − amount · C²/(C² + 0.12²))."""

    amount: Annotated[float, Meta(ge=0.0, le=0.15)]

    def words(self, model: Model = OKLAB) -> str:
        del model
        return f"saturated colours darker, by {self.amount:.0%} at most"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        del model
        chroma2 = lab[..., 1] ** 2 + lab[..., 2] ** 2
        factor = 1.0 - self.amount * chroma2 / (chroma2 + 0.12**2)
        return np.concatenate([(lab[..., 0] * factor)[..., None], lab[..., 1:]], axis=-1)


class Mix(Move, frozen=True, kw_only=True, tag="black-and-white"):
    """Black and white by shares of red, green and blue light; greys stay.

    The shares count by their sum. `amount` mixes with the colour as it came, in the even space.
    """

    red: Annotated[float, Meta(ge=0.0, le=1.0)]
    green: Annotated[float, Meta(ge=0.0, le=1.0)]
    blue: Annotated[float, Meta(ge=0.0, le=1.0)]
    amount: Annotated[float, Meta(ge=0.0, le=1.0)] = 1.0

    def words(self, model: Model = OKLAB) -> str:
        del model
        whole = max(self.red + self.green + self.blue, 1e-9)
        red, green, blue = (share / whole for share in (self.red, self.green, self.blue))
        by = "" if self.amount == 1.0 else f", mixed in by {self.amount:.0%}"
        return f"grey from {red:.0%} red, {green:.0%} green, {blue:.0%} blue light{by}"

    def fault(self, model: Model) -> str:
        del model
        if self.red + self.green + self.blue > 0.1:
            return ""
        return "red, green and blue are all 0: together they must be over 0.1"

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        weights = np.array([self.red, self.green, self.blue])
        light = np.maximum(lab_to_light(lab, model), 0.0) @ (weights / weights.sum())
        grey = np.zeros_like(lab)
        grey[..., 0] = light**model.exponent
        return grey if self.amount == 1.0 else lab + self.amount * (grey - lab)


class Print(Move, frozen=True, kw_only=True, tag="print"):
    """A print-like response: an S-curve of the logarithm of light, channel by channel.

    The exposure of each channel is first mixed with the mean by `crosstalk` (dyes that are not
    pure), then v = tanh(1.15 · gamma · (log10(light + d) + 0.75)), scaled to 0..1 and raised to the
    power that leaves 18 % grey where it was. d = 10^−2.4 is the light of the deepest black.
    `amount` mixes with the colour as it came.
    """

    gamma: Annotated[float, Meta(ge=0.8, le=1.3)]
    crosstalk: Annotated[float, Meta(ge=0.0, le=0.3)] = 0.0
    amount: Annotated[float, Meta(ge=0.0, le=1.0)] = 1.0

    def words(self, model: Model = OKLAB) -> str:
        del model
        return (
            f"print-like curve of gamma {self.gamma:.2f} in each channel, "
            f"{self.crosstalk:.0%} crosstalk, mixed in by {self.amount:.0%}"
        )

    def __call__(self, lab: Array, model: Model = OKLAB) -> Array:
        floor = 10.0**-2.4
        exposure = np.log10(np.maximum(lab_to_light(lab, model), 0.0) + floor)
        mean = exposure.mean(axis=-1, keepdims=True)
        exposure = exposure - self.crosstalk * (exposure - mean)
        power = np.log(0.18) / np.log(self._curve(np.log10(0.18 + floor)))
        out = light_to_lab(self._curve(exposure) ** power, model)
        return lab + self.amount * (out - lab)

    def _curve(self, exposure: Array) -> Array:
        steep = 1.15 * self.gamma
        low = np.tanh(steep * (-2.4 + 0.75))
        high = np.tanh(steep * (np.log10(1.0 + 10.0**-2.4) + 0.75))
        value = (np.tanh(steep * (exposure + 0.75)) - low) / (high - low)
        result: Array = np.clip(value, 0.0, 1.0)
        return result
