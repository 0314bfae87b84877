"""How far a table in a pack is from the exact look: on natural colours, and on hard ones.

Natural colours are drawn by program, the same every time: exposures about two stops under the grey
card (three stops either way in two thirds of them), hues mostly along the warm-cool line, quiet
colours far more often than strong ones, and a sensor's noise. Hard ones are, of log, the stress set
that compiled grades are held to, and of a display colours spread evenly over all that it can show.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import msgspec
import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.difference import ciede2000, lab
from evenhand.colourmath.encodings import transfer_of
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb
from evenhand.grade import ocio
from evenhand.grade.packtables import OUTPUT_TRANSFORM, Setting
from evenhand.grade.spaces import DISPLAY, is_display, space_named
from evenhand.grade.stress import stress_signals
from evenhand.measure.looks.probes import even_points

NATURAL: Final = 20_000
EVEN: Final = 16_384
_CODES: Final = 1023.0
_NOISE: Final = 0.6 / 876.0
_LIGHT_LIMIT: Final = 65504.0


class Errors(msgspec.Struct, frozen=True, kw_only=True):
    """Table against exact look: 10-bit codes of the worst channel (1023 wide), and CIEDE2000."""

    codes_p99: float
    codes_max: float
    de_p99: float
    de_max: float


class TableErrors(msgspec.Struct, frozen=True):
    """The errors on natural colours and on hard ones."""

    natural: Errors
    stress: Errors


def samples(setting: Setting) -> tuple[Array, Array]:
    """Signals (n, 3) in 0..1 that a table of that setting is tried on: natural ones, hard ones."""
    space = setting.expects
    if space == DISPLAY:
        return _shown(), even_points(EVEN)
    encoding = space_named(space)
    light = natural_light() @ rgb_to_rgb("bt709", encoding.primaries).T
    signal = transfer_of(encoding).to_signal(light, encoding.range) + _noise()
    hard = even_points(EVEN) if is_display(space) else stress_signals(encoding)
    return np.clip(signal, 0.0, 1.0), np.clip(hard, 0.0, 1.0)


def errors(exact: Array, read: Array, gives: str) -> Errors:
    """Compare signals (n, 3) of the space that a table gives; CIEDE2000 as a display shows them."""
    off = np.abs(exact - read).max(axis=1) * _CODES
    colour = ciede2000(_lab(exact, gives), _lab(read, gives))
    return Errors(
        codes_p99=_short(np.quantile(off, 0.99)),
        codes_max=_short(off.max()),
        de_p99=_short(np.quantile(colour, 0.99)),
        de_max=_short(colour.max()),
    )


@cache
def natural_light() -> Array:
    """Scene light, linear BT.709, (NATURAL, 3), grey card at 0.18."""
    stops, turn, strong, side, _ = _draws()
    exposure = 0.18 * 2.0 ** np.clip(-2.0 + 3.0 * stops, -12.0, 6.0)
    # Hue in sixths of a turn from red: orange and azure, each within half a sixth or so; a quarter
    # of the colours anywhere.
    lean = np.where(side < 0.45, 0.5, 3.5) + 0.45 * (turn - 0.5) * 2.0
    hue = np.where(side > 0.75, 6.0 * turn, lean)
    purity = np.minimum(-0.25 * np.log1p(-strong), 0.98)
    steps = (hue[:, None] - np.array([0.0, 2.0, 4.0]) + 3.0) % 6.0 - 3.0
    pure = np.clip(2.0 - np.abs(steps), 0.0, 1.0)
    mixed = 1.0 - purity[:, None] * (1.0 - pure)
    luminance = mixed @ luminance_weights("bt709")
    light: Array = mixed * (exposure / luminance)[:, None]
    light.setflags(write=False)
    return light


@cache
def _draws() -> tuple[Array, ...]:
    """Normal exposures, and three even draws a colour, and normal noise (n, 3)."""
    even = np.random.default_rng(20).random((NATURAL, 10))
    # Box and Muller (1958): the generator's own normals may change from version to version.
    radius = np.sqrt(-2.0 * np.log1p(-even[:, [0, 4, 6, 8]]))
    normal = radius * np.cos(2.0 * np.pi * even[:, [1, 5, 7, 9]])
    return normal[:, 0], even[:, 2], even[:, 3], even[:, 5], normal[:, 1:]


def _noise() -> Array:
    return _NOISE * _draws()[4]


@cache
def _shown() -> Array:
    """The natural colours as the conversion shows them on a BT.709 display."""
    light = natural_light() @ rgb_to_rgb("bt709", "ap1").T
    signal = ocio.render(OUTPUT_TRANSFORM, light).astype(np.float64) + _noise()
    shown: Array = np.clip(signal, 0.0, 1.0)
    shown.setflags(write=False)
    return shown


def _lab(signal: Array, gives: str) -> Array:
    if gives == DISPLAY:
        return lab(np.clip(signal, 0.0, 1.0))
    encoding = space_named(gives)
    if is_display(gives):
        return lab(np.clip(signal, 0.0, 1.0), encoding.transfer, encoding.primaries)
    light = transfer_of(encoding).to_light(signal, encoding.range)
    light = np.clip(light @ rgb_to_rgb(encoding.primaries, "ap1").T, -_LIGHT_LIMIT, _LIGHT_LIMIT)
    return lab(np.clip(ocio.render(OUTPUT_TRANSFORM, light).astype(np.float64), 0.0, 1.0))


def _short(value: float | np.floating) -> float:
    """Three decimals: what is stated is the same on every machine."""
    return round(float(value), 3)
