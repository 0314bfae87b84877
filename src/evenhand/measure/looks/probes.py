"""The colours that a look is tested on: greys, ramps, rings of hue, rays of chroma, and skins."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.difference import lab
from evenhand.grade.uniform import GAMMA, lab_to_light, light_to_lab

Floats = NDArray[np.float64]

GREYS: Final = 1025
# Greys within these are judged by slope; the ends may be flat.
INNER: Final = slice(20, 1004)
RING_LIGHTNESS: Final = (0.4, 0.55, 0.7, 0.82)
RING_CHROMA: Final = (0.04, 0.08)
RING_STEP: Final = 2.0
_RAY_LIGHTNESS: Final = (0.35, 0.5, 0.65, 0.8)
_RAY_CHROMA: Final = np.linspace(0.0, 0.16, 65)
_GRADIENTS: Final = 48

# Skins as linear BT.709 under D65, from spectra that colour-science 0.4 holds: the two skin patches
# of the 24-patch chart in two measurements (an average of published charts; ISO 17321-1), the
# skins of a chart of memory colours, sample 13 of CIE 13.3, and samples 15 and 18 of CIE 224.
SKINS: Final[tuple[tuple[str, tuple[float, float, float]], ...]] = (
    ("memory colour, African", (0.236712, 0.095368, 0.058183)),
    ("24-patch chart, dark", (0.172494, 0.083743, 0.057571)),
    ("ISO 17321-1, dark", (0.176198, 0.078205, 0.050309)),
    ("CIE 224, sample 18", (0.321081, 0.177381, 0.105359)),
    ("memory colour, South Asian", (0.436908, 0.199681, 0.134713)),
    ("memory colour, East Asian", (0.546692, 0.258118, 0.175385)),
    ("memory colour, European", (0.590736, 0.277937, 0.193430)),
    ("CIE 224, sample 15", (0.541803, 0.326888, 0.250491)),
    ("24-patch chart, light", (0.548178, 0.298453, 0.216945)),
    ("ISO 17321-1, light", (0.559503, 0.308703, 0.222807)),
    ("CIE 13.3, sample 13", (0.824446, 0.517807, 0.352652)),
)
SKIN_LEVELS: Final = (0.35, 0.7, 1.0)
"""Shares of their light: in shade, half lit, lit."""

# Ends of colour ramps, as signal: greys, the primaries, a lit skin, a blue sky into its haze.
_RAMPS: Final = (
    ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)),
    ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)),
    ((0.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
    ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
    ((0.0, 0.0, 0.0), (0.92, 0.70, 0.61)),
    ((0.16, 0.38, 0.72), (0.86, 0.92, 0.97)),
)


@dataclass(frozen=True, slots=True, eq=False)
class Probes:
    """All of them in one (n, 3) array of display signal, and where each kind lies in it.

    `eight`: ramps of 8-bit steps; `ten`: greys of 10-bit steps, narrow range.
    """

    signal: Floats
    greys: slice
    eight: tuple[slice, ...]
    ten: slice
    rings: tuple[slice, ...]
    rays: tuple[slice, ...]
    skins: slice


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Display signal (n, 3) within 0..1, with its CIELAB and Oklab."""

    signal: Floats
    lab: Floats
    even: Floats


def seen(signal: Floats) -> Seen:
    """What a display shows of signal (n, 3) that may leave 0..1."""
    cut = np.clip(signal, 0.0, 1.0)
    return Seen(cut, lab(cut), lab_of(cut))


@cache
def before() -> Seen:
    """The probes themselves."""
    return seen(probes().signal)


@cache
def probes() -> Probes:
    """The colours, made once."""
    parts: list[Floats] = []

    def add(part: Floats) -> slice:
        start = sum(map(len, parts))
        parts.append(part)
        return slice(start, start + len(part))

    greys = add(_grey(np.linspace(0.0, 1.0, GREYS)))
    ends = [_ramp(np.array(a), np.array(b)) for a, b in _RAMPS]
    eight = tuple(add(ramp) for ramp in (*ends, *_gradients()))
    ten = add(_grey(np.arange(64, 961) / 1023.0))
    rings = tuple(add(ring) for ring in _rings())
    rays = tuple(add(ray) for ray in _rays())
    skins = add(skin_signal().reshape(-1, 3))
    signal = np.concatenate(parts)
    signal.setflags(write=False)
    return Probes(signal, greys, eight, ten, rings, rays, skins)


def skin_signal() -> Floats:
    """Display signal of the skins, (levels, skins, 3)."""
    light = np.array([light for _, light in SKINS])
    return np.stack([(level * light) ** (1.0 / GAMMA) for level in SKIN_LEVELS])


def even_points(count: int) -> Floats:
    """Signal (count, 3) spread evenly over the cube: multiples of the plastic number's powers."""
    root = 1.2207440846057596  # the real root of x^4 = x + 1, the plastic number of 3 dimensions
    steps = 1.0 / root ** np.arange(1, 4)
    result: Floats = (0.5 + np.arange(1, count + 1)[:, None] * steps) % 1.0
    return result


def signal_of(lab: Floats) -> Floats | None:
    """Display signal of Oklab colours; None where the display cannot show one of them."""
    light = lab_to_light(lab)
    if light.min() < 0.0 or light.max() > 1.0:
        return None
    result: Floats = light ** (1.0 / GAMMA)
    return result


def lab_of(signal: Floats) -> Floats:
    """Oklab of display signal within 0..1."""
    return light_to_lab(signal**GAMMA)


def polar(lightness: float, chroma: Floats | float, hue: Floats | float) -> Floats:
    """Oklab (n, 3); hue in radians."""
    far, turn = np.broadcast_arrays(chroma, hue)
    level = np.full(far.shape, lightness)
    return np.stack([level, far * np.cos(turn), far * np.sin(turn)], axis=-1)


def _rings() -> list[Floats]:
    hue = np.radians(np.arange(0.0, 360.0, RING_STEP))
    rings = (signal_of(polar(*at, hue)) for at in product(RING_LIGHTNESS, RING_CHROMA))
    return [ring for ring in rings if ring is not None]


def _rays() -> list[Floats]:
    """From grey outwards, as far as the display goes."""
    rays = []
    for lightness, hue in product(_RAY_LIGHTNESS, np.radians(np.arange(0.0, 360.0, 15.0))):
        light = lab_to_light(polar(lightness, _RAY_CHROMA, hue))
        inside = ((light >= 0.0) & (light <= 1.0)).all(axis=1)
        if inside.sum() > 6:
            rays.append(light[inside] ** (1.0 / GAMMA))
    return rays


def _grey(level: Floats) -> Floats:
    return np.repeat(level[:, None], 3, axis=1)


def _ramp(first: Floats, last: Floats) -> Floats:
    """Steps of one 8-bit code, in the channel that goes furthest."""
    steps = round(255 * float(np.abs(last - first).max()))
    result: Floats = first + np.linspace(0.0, 1.0, steps + 1)[:, None] * (last - first)
    return result


def _gradients() -> list[Floats]:
    """Ramps of 64 codes through the cube in all directions, as pictures have everywhere."""
    middle = 0.15 + 0.7 * even_points(_GRADIENTS)
    way = 2.0 * even_points(2 * _GRADIENTS)[_GRADIENTS:] - 1.0
    way *= 32.0 / 255.0 / np.abs(way).max(axis=1, keepdims=True)
    return [_ramp(m - w, m + w) for m, w in zip(middle, way, strict=True)]
