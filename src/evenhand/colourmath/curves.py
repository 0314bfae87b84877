"""Transfer curves as published: small families of formulas with named constants.

Each curve maps one channel at a time between a curve signal P and scene light R (0.18 = grey card,
1.0 = diffuse white), in float64, with NaN passed through. `decode` is P to R, `encode` is R to P.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Curve(Protocol):
    """Both directions of one transfer curve."""

    def decode(self, signal: Array) -> Array: ...

    def encode(self, light: Array) -> Array: ...


def mirrored_power(values: Array, exponent: float) -> Array:
    """|x|^exponent with the sign of x: noise about black keeps a mean of zero."""
    result: Array = np.copysign(np.abs(values) ** exponent, values)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearLog:
    """From `cut` up, P = c·log_base(a·R + b) + d; below it P = e·R + f."""

    base: float
    cut: float
    a: float
    b: float
    c: float
    d: float
    e: float
    f: float

    def decode(self, signal: Array) -> Array:
        log = (self.base ** ((signal - self.d) / self.c) - self.b) / self.a
        return np.where(signal < self.e * self.cut + self.f, (signal - self.f) / self.e, log)

    def encode(self, light: Array) -> Array:
        safe = np.maximum(light, self.cut)
        log = self.c * np.log(self.a * safe + self.b) / np.log(self.base) + self.d
        return np.where(light < self.cut, self.e * light + self.f, log)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuadraticLog:
    """P = gamma·log2(R + beta) + delta from `rt` up, c·(R − r0)² down to `r0`, and 0 below it."""

    r0: float
    rt: float
    c: float
    beta: float
    gamma: float
    delta: float

    def decode(self, signal: Array) -> Array:
        log = np.exp2((signal - self.delta) / self.gamma) - self.beta
        toe = np.sqrt(np.maximum(signal, 0.0) / self.c) + self.r0
        return np.where(signal < self.c * (self.rt - self.r0) ** 2, toe, log)

    def encode(self, light: Array) -> Array:
        log = self.gamma * np.log2(np.maximum(light, self.rt) + self.beta) + self.delta
        toe = self.c * np.maximum(light - self.r0, 0.0) ** 2
        return np.where(light < self.rt, toe, log)


@dataclass(frozen=True, slots=True, kw_only=True)
class MirroredLog:
    """A logarithm on each side of black, with a straight piece of |x| ≤ `cut` between, x = R/white.

    P = ±c·log10(a·|x| + 1) + d_above (or d_below); P = slope·x + middle inside `cut`.
    """

    white: float
    a: float
    c: float
    d_above: float
    d_below: float
    cut: float = 0.0
    slope: float = 1.0
    middle: float = 0.0

    def _ends(self) -> tuple[float, float]:
        if self.cut == 0.0:
            return self.d_below, self.d_above
        # The three published pieces meet to 1e-8 only; the straight one decides where it ends.
        return self.middle - self.slope * self.cut, self.middle + self.slope * self.cut

    def decode(self, signal: Array) -> Array:
        low, high = self._ends()
        above = (
            10.0 ** ((np.maximum(signal, self.d_above) - self.d_above) / self.c) - 1.0
        ) / self.a
        below = (
            1.0 - 10.0 ** ((self.d_below - np.minimum(signal, self.d_below)) / self.c)
        ) / self.a
        straight = (signal - self.middle) / self.slope
        x = np.where(signal > high, above, np.where(signal < low, below, straight))
        if self.cut == 0.0:
            x = np.where(signal >= high, above, np.where(signal < low, below, signal))
        return self.white * x

    def encode(self, light: Array) -> Array:
        x = light / self.white
        log = self.c * np.log10(self.a * np.abs(x) + 1.0)
        straight = self.slope * x + self.middle
        if self.cut == 0.0:
            return np.where(x < 0.0, self.d_below - log, self.d_above + log)
        return np.where(
            x > self.cut,
            self.d_above + log,
            np.where(x < -self.cut, self.d_below - log, straight),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """Light = |V|^exponent with the sign of V: BT.1886 for a display without black lift."""

    exponent: float

    def decode(self, signal: Array) -> Array:
        return mirrored_power(signal, self.exponent)

    def encode(self, light: Array) -> Array:
        return mirrored_power(light, 1.0 / self.exponent)


@dataclass(frozen=True, slots=True)
class Srgb:
    """IEC 61966-2-1, mirrored for negatives."""

    def decode(self, signal: Array) -> Array:
        v = np.abs(signal)
        light = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
        return np.copysign(light, signal)

    def encode(self, light: Array) -> Array:
        r = np.abs(light)
        signal = np.where(r <= 0.0031308, 12.92 * r, 1.055 * r ** (1.0 / 2.4) - 0.055)
        return np.copysign(signal, light)


@dataclass(frozen=True, slots=True)
class Linear:
    """Signal is light."""

    def decode(self, signal: Array) -> Array:
        return signal

    def encode(self, light: Array) -> Array:
        return light
