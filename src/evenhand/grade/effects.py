"""Halation and grain: effects across the picture, after the table and never part of it.

A look's table sees one colour at a time; these see the picture. They are off unless asked for. Both
work on display signal of a BT.709 display (BT.1886, black 0), are the same function of the place in
the picture at every resolution (lengths are fractions of the picture's height) and of the frame's
number, and leave the mean light as it was.

Halation: light that goes through the film is thrown back by its base and lights it again round
bright places, red layer first. Of the light s above `threshold`, the share `amount` · `tint` is
taken away and laid down again spread by K, out = light + amount · tint · (K∗s − s): light moves,
and none is made. K is the mean of two Gaussians of standard deviation `radius` and 2.5 · `radius`.

Grain: density is made of grains, so light varies by a factor from place to place. With g a field of
independent normal values one `size` apart, smoothed by a parabola,

    light · exp(s·g − s²/2),   s = ln 2 · stops · 4V(1 − V):

a factor whose mean is 1 (log-normal), of `stops` standard deviation at V = 50 % signal, and nothing
at black and white. A picture with fewer rows than there are grains sees their mean, which varies
less, as in Selwyn's law: by the size of a grain over that of a pixel.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Final

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray

from evenhand.colourmath.curves import Array
from evenhand.errors import UsageError
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.uniform import GAMMA, smooth_step

Picture = NDArray[np.floating[Any]]
_Share = Annotated[float, Meta(ge=0.0, le=1.0)]
_WIDE: Final = 2.5
_BOXES: Final = 3  # box means in a row come within 3 % of a Gaussian


class Halation(msgspec.Struct, frozen=True, kw_only=True):
    """A glow round what is bright: `radius` in picture heights, `threshold` in display signal."""

    amount: Annotated[float, Meta(ge=0.0, le=0.5)]
    radius: Annotated[float, Meta(ge=0.0005, le=0.02)] = 0.004
    threshold: Annotated[float, Meta(ge=0.3, le=0.95)] = 0.75
    tint: tuple[_Share, _Share, _Share] = (1.0, 0.3, 0.1)


class Grain(msgspec.Struct, frozen=True, kw_only=True):
    """Grain: `size` in picture heights, `stops` of standard deviation at 50 % signal.

    `colour` 0..1 is the share of it that differs between red, green and blue.
    """

    stops: Annotated[float, Meta(ge=0.0, le=0.3)]
    size: Annotated[float, Meta(ge=0.0004, le=0.005)] = 0.0009
    colour: _Share = 0.3
    seed: Annotated[int, Meta(ge=0, le=2**31 - 1)] = 1


class Effects(msgspec.Struct, frozen=True, kw_only=True):
    """What a look would do to the picture as a whole, where it is asked for."""

    halation: Halation | None = None
    grain: Grain | None = None

    @property
    def are_none(self) -> bool:
        """There is nothing to do."""
        return self.halation is None and self.grain is None

    @property
    def words(self) -> tuple[str, ...]:
        """Each effect in words and numbers."""
        said = []
        if self.halation:
            glow = self.halation
            said.append(
                f"halation: {glow.amount:.0%} of light above {glow.threshold:.0%} signal spread "
                f"by {glow.radius:.2%} of the picture's height"
            )
        if self.grain:
            grain = self.grain
            said.append(
                f"grain: {grain.stops:.2f} stops at 50 % signal, {grain.size:.2%} of the picture's "
                f"height in size, {grain.colour:.0%} of it in colour"
            )
        return tuple(said)


NO_EFFECTS: Final = Effects()


def effects_of(look: object, strength: float = 1.0) -> Effects:
    """The effects of a look of any kind, weaker in proportion to its strength; most have none."""
    effects = getattr(look, "effects", None)
    if not isinstance(effects, Effects) or strength <= 0.0:
        return NO_EFFECTS
    halation, grain = effects.halation, effects.grain
    return Effects(
        halation=halation and msgspec.structs.replace(halation, amount=halation.amount * strength),
        grain=grain and msgspec.structs.replace(grain, stops=grain.stops * strength),
    )


def effects_in(grade: Grade, looks: Callable[[LookUse], object]) -> Effects:
    """The effects of a grade: of its look, where its use asks for them.

    UsageError where the output transform is not for a BT.709 display: they are made on its signal.
    """
    use = grade.look
    if use is None or not use.effects:
        return NO_EFFECTS
    effects = effects_of(looks(use), use.strength)
    # Here, not above: reading a look does not wait for OpenColorIO.
    from evenhand.grade.output_transforms import output_encoding

    output = output_encoding(grade.output_transform).name
    if not effects.are_none and output != "bt709":
        raise UsageError(
            f"look {use.name}",
            f"its effects are made for a BT.709 display, but {grade.output_transform} "
            f"gives {output}",
            "Take an SDR output transform, or the look without its effects",
        )
    return effects


def with_effects(signal: Picture, effects: Effects, frame: int) -> Picture:
    """Display signal (h, w, 3) 0..1 of frame number `frame` with the effects, float64, 0..1.

    Without effects the very array comes back.
    """
    if effects.are_none:
        return signal
    light = np.clip(signal, 0.0, 1.0).astype(np.float64) ** GAMMA
    if effects.halation is not None:
        light = with_halation(light, effects.halation)
    if effects.grain is not None:
        light = with_grain(light, effects.grain, frame)
    result: Picture = np.clip(light, 0.0, 1.0) ** (1.0 / GAMMA)
    return result


def with_halation(light: Array, halation: Halation) -> Array:
    """Light (h, w, 3), not below 0, to light; the sum over the picture stays."""
    height = light.shape[0]
    edge = halation.threshold**GAMMA
    brightest = light.max(axis=2, keepdims=True)
    bright = light * smooth_step((brightest - edge) / max(1.0 - edge, 1e-3))
    share = halation.amount * np.array(halation.tint)
    radius = halation.radius * height
    spread = 0.5 * (_blurred(bright, radius) + _blurred(bright, _WIDE * radius))
    result: Array = light + share * (spread - bright)
    return result


def with_grain(light: Array, grain: Grain, frame: int) -> Array:
    """Light (h, w, 3) in 0..1 to light with the grain of that frame."""
    height, width = light.shape[:2]
    rows = max(2, round(1.0 / grain.size))
    columns = max(2, round(width / height * rows))
    noise = np.random.Generator(np.random.Philox(key=[grain.seed, frame % 2**63]))
    fields = [
        _spread(noise.standard_normal((rows, columns)), height, width)
        for _ in range(4 if grain.colour else 1)
    ]
    signal = light ** (1.0 / GAMMA)
    strength = np.log(2.0) * grain.stops * 4.0 * signal * (1.0 - signal)
    together = np.sqrt(1.0 - grain.colour**2)
    out = np.empty_like(light)
    seen = min(1.0, height / rows)
    for channel in range(3):
        field = together * fields[0]
        if grain.colour:
            field = field + grain.colour * fields[channel + 1]
        s = strength[..., channel]
        out[..., channel] = light[..., channel] * np.exp(s * field - 0.5 * (s * seen) ** 2)
    return out


def _spread(cells: Array, height: int, width: int) -> Array:
    """A field of unit normal cells as pixels see it: variance 1, less where pixels are larger."""
    along = _resampled(cells, height)
    return _resampled(along.T, width).T


def _resampled(cells: Array, pixels: int) -> Array:
    """Rows of cells to rows of pixels, each a parabola-weighted mean scaled to the variance due."""
    per_pixel = len(cells) / pixels
    reach = max(1.0, per_pixel)
    centres = (np.arange(pixels) + 0.5) * per_pixel - 0.5
    taps = int(np.ceil(3.0 * reach)) + 1
    first = np.floor(centres - 1.5 * reach).astype(np.int64)
    index = first[:, None] + np.arange(taps + 1)
    weight = _parabola((index - centres[:, None]) / reach)
    # Cells beyond the edge are those inside it, mirrored: no border is seen.
    index = np.abs(index)
    index = np.where(index >= len(cells), 2 * len(cells) - 2 - index, index).clip(0)
    weight /= np.sqrt((weight**2).sum(axis=1, keepdims=True)) * np.sqrt(reach)
    out = np.zeros((pixels, cells.shape[1]))
    for tap in range(taps + 1):
        out += weight[:, tap, None] * cells[index[:, tap]]
    return out


def _parabola(x: Array) -> Array:
    """The quadratic B-spline, wide 3, once continuously differentiable."""
    far = np.abs(x)
    return np.where(far < 0.5, 0.75 - far * far, 0.5 * np.clip(1.5 - far, 0.0, None) ** 2)


def _blurred(picture: Array, radius: float) -> Array:
    """About a Gaussian of that standard deviation in pixels; sums stay, edges are mirrored.

    A wide one is made on a picture reduced by whole pixels: nothing finer is left in it.
    """
    factor = int(min(radius / 1.5, min(picture.shape[:2]) / 8.0))
    if factor < 2:
        return _boxes(_boxes(picture, radius, 0), radius, 1)
    small = _reduced(_reduced(picture, factor, 0), factor, 1)
    # The reducing and the enlarging blur as well: their variance is (1 − 1/k²)/12 and 1/6 pixels².
    rest = np.sqrt(max((radius / factor) ** 2 - (1.0 - factor**-2) / 12.0 - 1.0 / 6.0, 0.1))
    small = _boxes(_boxes(small, rest, 0), rest, 1)
    return _enlarged(_enlarged(small, picture.shape[0], 0), picture.shape[1], 1)


def _boxes(picture: Array, radius: float, axis: int) -> Array:
    """Box means one after another along one axis, of together that standard deviation.

    Widths are not whole: what lies half in the box counts half (Gwosdek et al., 2011).
    """
    each = radius**2 / _BOXES
    whole = int((np.sqrt(12.0 * each + 1.0) - 1.0) / 2.0)
    part = (2 * whole + 1) * (whole * (whole + 1) - 3.0 * each) / 6.0 / (each - (whole + 1) ** 2)
    rows = np.moveaxis(picture, axis, 0)
    reach = min(whole + 1, len(rows))
    half = min(whole + 0.5 + part, reach + 0.5)
    for _ in range(_BOXES):
        padded = np.pad(rows, ((reach, reach), *[(0, 0)] * (rows.ndim - 1)), mode="symmetric")
        sums = np.zeros((len(padded) + 1, *padded.shape[1:]))
        np.cumsum(padded, axis=0, out=sums[1:])
        middle: Array = np.arange(len(rows), dtype=np.float64) + (reach + 0.5)
        rows = (_sum_to(sums, middle + half) - _sum_to(sums, middle - half)) / (2.0 * half)
    return np.moveaxis(rows, 0, axis)


def _sum_to(sums: Array, place: Array) -> Array:
    whole = np.clip(np.floor(place).astype(np.int64), 0, len(sums) - 2)
    part: Array = (place - whole).reshape(-1, *[1] * (sums.ndim - 1))
    result: Array = sums[whole] + part * (sums[whole + 1] - sums[whole])
    return result


def _reduced(picture: Array, factor: int, axis: int) -> Array:
    """Means of `factor` pixels along one axis; the last may reach over the mirrored edge."""
    rows = np.moveaxis(picture, axis, 0)
    missing = -len(rows) % factor
    rows = np.pad(rows, ((0, missing), *[(0, 0)] * (rows.ndim - 1)), mode="symmetric")
    means = rows.reshape(-1, factor, *rows.shape[1:]).mean(axis=1)
    return np.moveaxis(means, 0, axis)


def _enlarged(picture: Array, length: int, axis: int) -> Array:
    """Straight lines between the means that `_reduced` made."""
    rows = np.moveaxis(picture, axis, 0)
    factor = -(-length // len(rows))
    place = np.clip((np.arange(length) + 0.5) / factor - 0.5, 0.0, len(rows) - 1.0)
    whole = np.minimum(place.astype(np.int64), max(len(rows) - 2, 0))
    part = (place - whole).reshape(-1, *[1] * (rows.ndim - 1))
    result = rows[whole] + part * (rows[np.minimum(whole + 1, len(rows) - 1)] - rows[whole])
    return np.moveaxis(result, 0, axis)
