"""Looks made for tests: faults of any strength, by what they do wrong.

Each takes an amount and gives a function on display signal (n, 3). None clips more than a display.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.grade.uniform import OKLAB, hue_weight, lab_to_signal, signal_to_lab

Floats = NDArray[np.float64]
Transform = Callable[[Floats], Floats]
_LUMA = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True)
class Made:
    """A look with a name, as the health test asks for one."""

    name: str
    transform: Transform
    is_neutral: bool = False
    space: str = "bt709-display"

    def apply(self, signal: Floats) -> Floats:
        values = np.asarray(signal, np.float64)
        return np.clip(self.transform(values.reshape(-1, 3)), 0.0, 1.0).reshape(values.shape)


def identity(signal: Floats) -> Floats:
    return signal


def _luma(signal: Floats) -> Floats:
    return (signal @ _LUMA)[:, None]


def _in_lab(edit: Callable[[Floats], Floats]) -> Transform:
    return lambda signal: lab_to_signal(edit(signal_to_lab(signal)))


def _scaled(lab: Floats, factor: Floats | float) -> Floats:
    return np.concatenate([lab[:, :1], lab[:, 1:] * np.reshape(factor, (-1, 1))], axis=1)


def dip(amount: float) -> Transform:
    """Greys about 50 % come out darker by `amount` of signal, over a width of 3 %."""
    return lambda v: v - amount * np.exp(-(((_luma(v) - 0.5) / 0.03) ** 2))


def crush(amount: float) -> Transform:
    """The lowest and the highest `amount` of signal are cut off."""
    return lambda v: (v - amount) / (1.0 - 2.0 * amount)


def steep(amount: float) -> Transform:
    """A logistic curve of that slope about 50 % (1 and less: nothing)."""
    return lambda v: 1.0 / (1.0 + np.exp(-4.0 * amount * (v - 0.5)))


def plateau(amount: float) -> Transform:
    """Tones about 45 % are drawn together: a slope of 1 - `amount` there."""
    return lambda v: v - amount * 0.08 * np.tanh((v - 0.45) / 0.08)


def lifted_black(amount: float) -> Transform:
    """Black at `amount` of signal, straight to white."""
    return lambda v: amount + (1.0 - amount) * v


def grey_white(amount: float) -> Transform:
    """White at 1 - `amount`."""
    return lambda v: (1.0 - amount) * v


def green_cast(amount: float) -> Transform:
    return lambda v: v * (1.0 + amount * np.array([-1.0, 1.0, -1.0]))


def ripple(amount: float) -> Transform:
    """Six and a half waves of green against magenta along the scale."""
    tint = np.array([1.0, -1.0, 1.0])
    return lambda v: v + amount * np.sin(40.0 * _luma(v)) * tint


def hue_fold(amount: float) -> Transform:
    """Blues within 25 degrees turned by `amount` degrees; over 12 they fold."""
    return _in_lab(lambda lab: _turned(lab, 250.0, 25.0, -amount))


def skin_to_magenta(amount: float) -> Transform:
    """Skin hues turned by `amount` degrees towards magenta, over a wide band."""
    return _in_lab(lambda lab: _turned(lab, 55.0, 80.0, -amount))


def skins_apart(amount: float) -> Transform:
    """Hues near skin turned by `amount` degrees in the darks, and the other way in the lights."""

    def edit(lab: Floats) -> Floats:
        side = np.tanh((lab[:, 0] - 0.6) / 0.15)
        return _turned(lab, 55.0, 80.0, amount * side)

    return _in_lab(edit)


def _turned(lab: Floats, hue: float, half_width: float, degrees: Floats | float) -> Floats:
    weight = hue_weight(lab, hue, half_width)
    angle = np.radians(degrees) * weight
    a, b = lab[:, 1], lab[:, 2]
    turned = (a * np.cos(angle) - b * np.sin(angle), a * np.sin(angle) + b * np.cos(angle))
    return np.stack([lab[:, 0], *turned], axis=1)


def sector_cut(amount: float) -> Transform:
    """Greens within 29 degrees lose `amount` of their chroma, with a hard edge, as a key has."""

    def edit(lab: Floats) -> Floats:
        away = np.arctan2(lab[:, 2], lab[:, 1]) - np.radians(140.0)
        inside = np.abs(np.angle(np.exp(1j * away))) < 0.5
        return _scaled(lab, np.where(inside, 1.0 - amount, 1.0))

    return _in_lab(edit)


def saturation_break(amount: float) -> Transform:
    """Chroma over 0.06 loses `amount` of itself at once."""

    def edit(lab: Floats) -> Floats:
        strong = np.hypot(lab[:, 1], lab[:, 2]) > 0.06
        return _scaled(lab, np.where(strong, 1.0 - amount, 1.0))

    return _in_lab(edit)


def saturated(amount: float) -> Transform:
    """Chroma times 1 + `amount`, cut by the display."""
    return _in_lab(lambda lab: _scaled(lab, 1.0 + amount))


def pale_skin(amount: float) -> Transform:
    """Skin hues lose `amount` of their chroma."""

    def edit(lab: Floats) -> Floats:
        weight = hue_weight(lab, OKLAB.skin_hue, 80.0)
        return _scaled(lab, 1.0 - amount * weight)

    return _in_lab(edit)


def noise(amount: float) -> Transform:
    """Noise in the table, of that standard deviation: the same for the same colour."""

    def add(signal: Floats) -> Floats:
        nodes = np.rint(signal * 32.0).astype(np.int64)
        seed = nodes @ np.array([7919, 104729, 1299709])
        random = np.random.default_rng(1).normal(size=(4093, 3))
        return signal + amount * random[seed % 4093]

    return add


def posterised(amount: float) -> Transform:
    """Steps of `amount` of signal in each channel."""
    return lambda v: np.rint(v / amount) * amount


def swapped(amount: float) -> Transform:
    """Red and green change places, mixed in by `amount`."""
    return lambda v: v + amount * (v[:, [1, 0, 2]] - v)


def collapsed(amount: float) -> Transform:
    """Oklab's yellow-blue is taken away by `amount`: what is left has two colours."""
    return _in_lab(lambda lab: lab * np.array([1.0, 1.0, 1.0 - amount]))


FAULTS: Final[Mapping[str, tuple[Callable[[float], Transform], tuple[float, ...]]]] = {
    "dip": (dip, (0.005, 0.01, 0.02, 0.03, 0.04, 0.06)),
    "crush": (crush, (0.01, 0.03, 0.06, 0.10, 0.14, 0.20)),
    "steep": (steep, (1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 6.0)),
    "plateau": (plateau, (0.3, 0.5, 0.7, 0.85, 0.95, 1.0)),
    "lifted black": (lifted_black, (0.03, 0.06, 0.10, 0.15, 0.25)),
    "grey white": (grey_white, (0.03, 0.08, 0.15, 0.25, 0.35)),
    "green cast": (green_cast, (0.003, 0.01, 0.02, 0.04, 0.06, 0.10)),
    "ripple": (ripple, (0.001, 0.002, 0.005, 0.01, 0.02, 0.04)),
    "hue fold": (hue_fold, (4.0, 8.0, 12.0, 16.0, 25.0, 40.0, 70.0)),
    "skin to magenta": (skin_to_magenta, (4.0, 8.0, 12.0, 16.0, 24.0, 32.0)),
    "skins apart": (skins_apart, (2.0, 4.0, 8.0, 12.0, 18.0)),
    "sector cut": (sector_cut, (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)),
    "saturation break": (saturation_break, (0.02, 0.05, 0.1, 0.2, 0.35, 0.5)),
    "saturated": (saturated, (0.1, 0.2, 0.4, 0.7, 1.0, 1.5)),
    "pale skin": (pale_skin, (0.2, 0.4, 0.6, 0.8, 0.95)),
    "noise": (noise, (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02)),
    "posterised": (posterised, (1 / 256, 1 / 128, 1 / 64, 1 / 48, 1 / 24, 1 / 12)),
    "channels swapped": (swapped, (0.1, 0.2, 0.4, 0.6, 0.8, 1.0)),
    "collapse": (collapsed, (0.3, 0.6, 0.8, 0.9, 1.0)),
}
