"""The moves that looks are made of: small pure functions on Oklab of BT.709 display light.

Display signal is R'G'B' 0..1, light by BT.1886 with a black of 0. Colours are (..., 3) float64: L
0..1, and a, b, which are 0 on the grey axis to the last digit. Every operator is twice continuously
differentiable inside the display's range; none but `SplitTone` moves grey off the axis; the one
limit that the display forces is `into_display`, and it is smooth as well.

Oklab: B. Ottosson, "A perceptual color space for image processing", 2020. Of the common spaces its
hue lines are among the straightest on the loci of Hung & Berns (1995) and Ebner & Fairchild (1998),
and its blues do not turn purple when their chroma changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from evenhand.colourmath.curves import Array

GAMMA: Final = 2.4

# The published matrices, made exact: rows of the first sum to 1 and rows 2 and 3 of the second to
# 0, or the rounding of their decimals would tint greys by 1e-5.
_TO_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_TO_CONES /= _TO_CONES.sum(axis=1, keepdims=True)
_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_TO_LAB[1:] -= _TO_LAB[1:].mean(axis=1, keepdims=True)
_TO_LAB[0] /= _TO_LAB[0].sum()
FROM_CONES, FROM_LAB = np.linalg.inv(_TO_CONES), np.linalg.inv(_TO_LAB)

# Hue and width, in degrees of Oklab, that hold the skins of the published charts.
_SKIN_HUE, _SKIN_WIDTH = 50.0, 48.0


class Operator(Protocol):
    """One move: a function on colours, and what it does in words."""

    @property
    def says(self) -> str: ...

    def __call__(self, lab: Array) -> Array: ...


def light_to_lab(light: Array) -> Array:
    """Linear BT.709 display light, not below 0, to Oklab."""
    result: Array = np.cbrt(light @ _TO_CONES.T) @ _TO_LAB.T
    return result


def lab_to_light(lab: Array) -> Array:
    """The inverse; outside the display light falls below 0 or above 1."""
    result: Array = (lab @ FROM_LAB.T) ** 3 @ FROM_CONES.T
    return result


def signal_to_lab(signal: Array) -> Array:
    """Display signal 0..1 to Oklab."""
    return light_to_lab(np.clip(signal, 0.0, 1.0) ** GAMMA)


def lab_to_signal(lab: Array) -> Array:
    """Oklab to display signal 0..1; what the display cannot show is cut."""
    result: Array = np.clip(lab_to_light(lab), 0.0, 1.0) ** (1.0 / GAMMA)
    return result


def smooth_step(x: Array) -> Array:
    """0 below 0, 1 above 1, with slope and curvature 0 at both ends."""
    t = np.clip(x, 0.0, 1.0)
    return t * t * t * (t * (t * 6.0 - 15.0) + 10.0)


def hue_weight(lab: Array, centre: float, half_width: float) -> Array:
    """1 at hue `centre`, 0 from `half_width` degrees on: cos to the fourth, so C3 at its ends."""
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    turns = (hue - np.radians(centre)) / (2.0 * np.pi)
    away = 360.0 * (turns - np.rint(turns)) / half_width
    result: Array = np.cos(np.clip(away, -1.0, 1.0) * np.pi / 2.0) ** 4
    return result


def skin_weight(lab: Array) -> Array:
    """1 on the hues of published skin reflectances, smoothly 0 elsewhere and on grey."""
    hue = hue_weight(lab, _SKIN_HUE, _SKIN_WIDTH)
    result: Array = hue * smooth_step(_chroma(lab) / 0.035)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A monotone curve of grey signal with slope `contrast` at `pivot`.

    It works on V = L^(3/2.4), the display signal of the grey of lightness L: on L itself a lifted
    black would have an endless slope in signal. Two quintics meet at the pivot with equal value,
    slope and no curvature. `toe` and `shoulder` 0..1 say how softly the ends run out (1 softest).
    `black` and `white` are the signal of the ends. Monotone for contrast 0.4 to 1.8. Chroma follows
    lightness by `follow`, so that darkened colours do not glow and lightened ones do not bleach.
    """

    contrast: float = 1.0
    pivot: float = 0.50
    toe: float = 0.0
    shoulder: float = 0.0
    black: float = 0.0
    white: float = 1.0
    follow: float = 0.55

    @property
    def says(self) -> str:
        ends = f", toe {self.toe:.2f}, shoulder {self.shoulder:.2f}"
        black = f", black lifted to {self.black:.1%}" if self.black else ""
        white = f", white at {self.white:.1%}" if self.white < 1.0 else ""
        return f"contrast {self.contrast:.2f} about {self.pivot:.0%} signal{ends}{black}{white}"

    def __call__(self, lab: Array) -> Array:
        signal = grey_signal(lab)
        above = 1.0 - self.pivot
        low = self.pivot * _run_out(signal / self.pivot, self.contrast, self.toe)
        high = 1.0 - above * _run_out((1.0 - signal) / above, self.contrast, self.shoulder)
        curve = np.where(signal < self.pivot, low, high)
        return with_grey(lab, self.black + (self.white - self.black) * curve, self.follow)


def grey_signal(lab: Array) -> Array:
    """Display signal 0..1 of the grey that has this lightness."""
    result: Array = np.clip(lab[..., 0], 0.0, 1.0) ** (3.0 / GAMMA)
    return result


def _run_out(x: Array, slope: float, softness: float) -> Array:
    """[0, 1] to itself with `slope` at 1 and no curvature at either end (quintic Hermite)."""
    x = np.clip(x, 0.0, 1.0)
    start = min(max((2.0 - slope) * (1.0 - softness) + 0.35 * softness, 0.05), 1.6)
    a3 = 10.0 - 6.0 * start - 4.0 * slope
    a4 = -15.0 + 8.0 * start + 7.0 * slope
    a5 = 6.0 - 3.0 * start - 3.0 * slope
    return x * (start + x * x * (a3 + x * (a4 + x * a5)))


def with_grey(lab: Array, signal: Array, follow: float) -> Array:
    """The lightness of another grey; chroma goes by (L_out/L_in)^follow, within a factor 1.65."""
    lightness = signal ** (GAMMA / 3.0)
    ratio = np.log((lightness + 0.02) / (np.maximum(lab[..., 0], 0.0) + 0.02))
    factor = np.exp(0.5 * np.tanh(2.0 * follow * ratio))
    return np.concatenate([lightness[..., None], lab[..., 1:] * factor[..., None]], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Middle:
    """Mid tones lighter or darker by `amount` of signal, ends kept: V + 4 · amount · V(1 − V).

    V is as in `Tone`, and chroma follows as there. Monotone for ±0.25.
    """

    amount: float

    @property
    def says(self) -> str:
        return f"mid tones {abs(self.amount):.1%} {'lighter' if self.amount > 0 else 'darker'}"

    def __call__(self, lab: Array) -> Array:
        signal = grey_signal(lab)
        return with_grey(lab, signal + 4.0 * self.amount * signal * (1.0 - signal), 0.55)


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitTone:
    """Leans darks and lights towards a hue each: (degrees, amount of Oklab chroma).

    Both fade to nothing at black and at white. `balance` is the lightness where they meet.
    `keep_skin` 0..1 spares skin hues.
    """

    dark: tuple[float, float] = (0.0, 0.0)
    light: tuple[float, float] = (0.0, 0.0)
    balance: float = 0.5
    keep_skin: float = 0.6

    @property
    def says(self) -> str:
        darks = f"darks lean {self.dark[1]:.3f} towards {hue_name(self.dark[0])}"
        lights = f"lights {self.light[1]:.3f} towards {hue_name(self.light[0])}"
        parts = [text for text, (_, n) in ((darks, self.dark), (lights, self.light)) if n]
        return f"{', '.join(parts)} (skin spared by {self.keep_skin:.0%})"

    def __call__(self, lab: Array) -> Array:
        lightness = np.clip(lab[..., 0], 0.0, 1.0)
        fade = smooth_step(lightness / 0.32) * smooth_step((1.0 - lightness) / 0.25)
        up = smooth_step((lightness - self.balance + 0.35) / 0.7)
        fade = fade * (1.0 - self.keep_skin * skin_weight(lab))
        out = lab.copy()
        for (degrees, amount), weight in ((self.dark, 1.0 - up), (self.light, up)):
            hue = np.radians(degrees)
            out[..., 1] += amount * np.cos(hue) * weight * fade
            out[..., 2] += amount * np.sin(hue) * weight * fade
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """Moves the colours about one hue: by `turn` degrees, `chroma` times, `lightness` up or down.

    Grey is a fixed point: the move grows with C²/(C² + 0.03²). Hues keep their order while
    |turn| < 0.49 · half_width.
    """

    hue: float
    half_width: float
    turn: float = 0.0
    chroma: float = 1.0
    lightness: float = 0.0

    @property
    def says(self) -> str:
        parts = [
            f"turned {self.turn:+.0f}°" if self.turn else "",
            f"chroma × {self.chroma:.2f}" if self.chroma != 1.0 else "",
            f"lightness {self.lightness:+.3f}" if self.lightness else "",
        ]
        return f"{hue_name(self.hue)} ± {self.half_width:.0f}°: {', '.join(filter(None, parts))}"

    def __call__(self, lab: Array) -> Array:
        lightness, chroma2 = np.clip(lab[..., 0], 0.0, 1.0), lab[..., 1] ** 2 + lab[..., 2] ** 2
        weight = hue_weight(lab, self.hue, self.half_width) * chroma2 / (chroma2 + 0.03**2)
        angle, gain = np.radians(self.turn) * weight, self.chroma**weight
        cos, sin = gain * np.cos(angle), gain * np.sin(angle)
        lift = 4.0 * self.lightness * weight * lightness * (1.0 - lightness)
        a, b = lab[..., 1], lab[..., 2]
        return np.stack([lab[..., 0] + lift, a * cos - b * sin, a * sin + b * cos], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Saturation:
    """Chroma factors for darks, mid tones and lights; growth bends off in strong colours."""

    dark: float = 1.0
    mid: float = 1.0
    light: float = 1.0

    @property
    def says(self) -> str:
        rest = f"{self.mid:.2f} in mid tones, {self.light:.2f} in lights"
        return f"chroma × {self.dark:.2f} in darks, {rest}"

    def __call__(self, lab: Array) -> Array:
        lightness = np.clip(lab[..., 0], 0.0, 1.0)
        up, down = smooth_step((lightness - 0.55) / 0.4), smooth_step((0.5 - lightness) / 0.4)
        factor = self.mid + (self.light - self.mid) * up + (self.dark - self.mid) * down
        chroma2 = lab[..., 1] ** 2 + lab[..., 2] ** 2
        # where the factor is over 1 the excess shrinks with chroma; 1 is met with all derivatives
        excess = factor - 1.0
        grown = 1.0 + excess / (1.0 + smooth_step(excess / 0.1) * chroma2 / 0.3**2)
        return np.concatenate([lab[..., :1], lab[..., 1:] * grown[..., None]], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """Saturated colours get darker, as dyes do: L × (1 − amount · C²/(C² + 0.12²))."""

    amount: float

    @property
    def says(self) -> str:
        return f"strong colours up to {self.amount:.0%} darker"

    def __call__(self, lab: Array) -> Array:
        chroma2 = lab[..., 1] ** 2 + lab[..., 2] ** 2
        factor = 1.0 - self.amount * chroma2 / (chroma2 + 0.12**2)
        return np.concatenate([(lab[..., 0] * factor)[..., None], lab[..., 1:]], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """Black and white by weights of red, green and blue light; they sum to 1, so greys stay."""

    red: float
    green: float
    blue: float

    @property
    def says(self) -> str:
        return f"grey from {self.red:.0%} red, {self.green:.0%} green, {self.blue:.0%} blue light"

    def __call__(self, lab: Array) -> Array:
        weights = np.array([self.red, self.green, self.blue])
        light = np.maximum(lab_to_light(lab), 0.0) @ (weights / weights.sum())
        out = np.zeros_like(lab)
        out[..., 0] = np.cbrt(light)
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """A print-like response: an S-curve of the logarithm of light, channel by channel.

    The exposure of each channel is first mixed with the mean by `crosstalk` (dyes that are not
    pure, 0 to 0.3), then v = tanh(1.15 · gamma · (log10(light + d) + 0.75)), scaled to 0..1 and
    raised to the power that leaves 18 % grey where it was. d = 10^−2.4 is the light of the deepest
    black. `amount` mixes with the colour as it came.
    """

    gamma: float
    crosstalk: float
    amount: float = 1.0

    @property
    def says(self) -> str:
        return (
            f"print-like curve of gamma {self.gamma:.2f} in each channel, "
            f"{self.crosstalk:.0%} crosstalk, mixed in by {self.amount:.0%}"
        )

    def __call__(self, lab: Array) -> Array:
        floor = 10.0**-2.4
        exposure = np.log10(np.maximum(lab_to_light(lab), 0.0) + floor)
        mean = exposure.mean(axis=-1, keepdims=True)
        exposure = exposure - self.crosstalk * (exposure - mean)
        power = np.log(0.18) / np.log(self._curve(np.log10(0.18 + floor)))
        out = light_to_lab(self._curve(exposure) ** power)
        return lab + self.amount * (out - lab)

    def _curve(self, exposure: Array) -> Array:
        steep = 1.15 * self.gamma
        low = np.tanh(steep * (-2.4 + 0.75))
        high = np.tanh(steep * (np.log10(1.0 + 10.0**-2.4) + 0.75))
        value = (np.tanh(steep * (exposure + 0.75)) - low) / (high - low)
        result: Array = np.clip(value, 0.0, 1.0)
        return result


_HUES: Final = (
    (25, "red"), (55, "orange"), (85, "amber"), (108, "yellow"), (130, "olive"), (148, "green"),
    (180, "sea green"), (210, "cyan"), (240, "sky blue"), (265, "blue"), (300, "violet"),
    (335, "magenta"), (360, "pink"),
)  # fmt: skip


def hue_name(degrees: float) -> str:
    """The nearest word for an Oklab hue, with the angle."""
    away = [(abs((degrees - centre + 180.0) % 360.0 - 180.0), word) for centre, word in _HUES]
    return f"{min(away)[1]} ({degrees:.0f}°)"


def _chroma(lab: Array) -> Array:
    result: Array = np.hypot(lab[..., 1], lab[..., 2])
    return result
