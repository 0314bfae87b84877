"""The exact transform of a grade, and scene light for measurement.

Order of work, always: signal → scene light in the clip's primaries → exposure and white → linear
AP1 → ACEScct (CDL, contrast, saturation) → look in a log space → output transform → look on the
display signal.

Input that means nothing is defined: NaN counts as signal 0, and signals are clamped to what narrow
codes 0..1023 can say (SIGNAL_LOW..SIGNAL_HIGH). Everything after that is finite.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.colourmath import acescct
from evenhand.colourmath.cdl import apply_cdl, saturate
from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb
from evenhand.colourmath.transfers import TRANSFERS, CodeRange
from evenhand.colourmath.white import levelling_matrix
from evenhand.grade.document import Adjustment, Cdl, Grade, LookUse, check_grade
from evenhand.grade.look_stages import Stage, with_look
from evenhand.grade.output_transforms import plain_setting, render

# Narrow 10-bit codes 0 and 1023.
SIGNAL_LOW: Final = -64.0 / 876.0
SIGNAL_HIGH: Final = (1023.0 - 64.0) / 876.0

_CHUNK: Final = 1 << 16
_LIGHT_LIMIT: Final = 65504.0  # the largest half float: no picture holds more light
_TABLE_SIZE: Final = 1 << 16

Transform = Callable[[ArrayLike], Array]


class Look(Protocol):
    """What a look must be: a space it is made for, and a function on signal of that space."""

    @property
    def space(self) -> str: ...

    def apply(self, signal: Array) -> Array: ...


FindLook = Callable[[LookUse], Look]


def clean_signal(signal: ArrayLike) -> Array:
    """Signal as float64 with NaN as 0, clamped to SIGNAL_LOW..SIGNAL_HIGH."""
    values = np.asarray(signal, np.float64)
    return np.clip(np.where(np.isnan(values), 0.0, values), SIGNAL_LOW, SIGNAL_HIGH)


def exact_transform(grade: Grade, looks: FindLook | None = None) -> Transform:
    """The grade as a function: R'G'B' signal (..., 3) to display signal (..., 3) in 0..1, float64.

    `looks` finds the look of a use. The function is safe to call from several threads. UsageError
    for values that have no meaning (contrast or power of 0 or less, unknown names, a look whose
    space does not fit the output transform).
    """
    check_grade(grade)
    stages = _stages(grade, looks or _shipped_look)

    def transform(signal: ArrayLike) -> Array:
        values = np.asarray(signal)
        flat = values.reshape(-1, 3)
        out = np.empty(flat.shape, np.float64)
        for start in range(0, len(flat), _CHUNK):
            part = clean_signal(flat[start : start + _CHUNK])
            for stage in stages:
                part = stage(part)
            out[start : start + _CHUNK] = part
        return out.reshape(values.shape)

    return transform


def working_light(signal: ArrayLike, grade: Grade) -> Array:
    """Signal (..., 3) to levelled linear AP1 (..., 3): everything up to ACEScct."""
    light = transfer_of(grade.encoding).to_light(signal, grade.encoding.range)
    result: Array = light @ to_working(grade).T
    return result


def adjust(light: Array, adjustment: Adjustment) -> Array:
    """CDL, contrast and saturation of linear AP1 (n, 3), in ACEScct.

    The CDL does not clamp: ACEScct runs past 0..1 (light above 222, colours outside AP1), and a
    neutral CDL must leave them. Contrast turns the ACEScct line about 18 % grey,
    out = grey + contrast · (in − grey): above ACEScct's toe that is the power law
    R_out = 0.18 · (R/0.18)^contrast; it is monotone, and grey stays. Saturation takes the luminance
    weights of AP1, so that it keeps luminance better than the CDL's own, which the standard fixes.
    """
    signal = apply_cdl(acescct.from_linear(light), adjustment.cdl, clamp=False)
    signal = acescct.GREY + adjustment.contrast * (signal - acescct.GREY)
    signal = saturate(signal, adjustment.saturation, luminance_weights("ap1"))
    # 2^17.52·V overflows only beyond any light a picture can hold.
    return acescct.to_linear(np.clip(signal, -_LIGHT_LIMIT, 1.6))


def _is_neutral(adjustment: Adjustment) -> bool:
    return adjustment.cdl == Cdl() and adjustment.contrast == 1.0 and adjustment.saturation == 1.0


def to_working(grade: Grade) -> Array:
    """Linear light in the clip's primaries to levelled linear AP1 (3x3): exposure, white, space."""
    white = grade.adjustment.white or grade.levelling.white
    stops = grade.levelling.stops + grade.adjustment.exposure
    primaries = grade.encoding.primaries
    result: Array = rgb_to_rgb(primaries, "ap1") @ levelling_matrix(stops, white, primaries)
    return result


def _stages(grade: Grade, looks: FindLook) -> list[Stage]:
    stages: list[Stage] = [lambda signal: working_light(signal, grade)]
    if not _is_neutral(grade.adjustment):
        stages.append(lambda light: adjust(light, grade.adjustment))
    plain = plain_setting(grade)
    stages.append(lambda light: np.clip(light, -_LIGHT_LIMIT, _LIGHT_LIMIT))

    def output_transform(light: Array) -> Array:
        return render(grade.output_transform, light, plain)

    if grade.look is None or grade.look.strength == 0.0:
        return [*stages, output_transform]
    look = looks(grade.look)
    return [*stages, *with_look(output_transform, look, grade.look, grade.output_transform)]


def _shipped_look(use: LookUse) -> Look:
    # Imported when a grade names a look: looks stand beside this module.
    from evenhand.grade.looks import look_named

    return look_named(use.name)


def scene_light(signal: ArrayLike, encoding: Encoding) -> Array:
    """Signal (..., 3) to scene-linear BT.2020, D65 (..., 3), float64: the space of measurements."""
    light = transfer_of(encoding).to_light(clean_signal(signal), encoding.range)
    result: Array = light @ rgb_to_rgb(encoding.primaries, "bt2020").T
    return result


def scene_light_image(signal: NDArray[np.float32], encoding: Encoding) -> NDArray[np.float32]:
    """`scene_light` of a float32 picture (h, w, 3) by a table of 65 536 steps of signal.

    From black up within 1.5e-4 of the brightest channel and 5e-6 of white; PQ, whose road mixes the
    channels, takes the exact one. The signal must be free of NaN.
    """
    if encoding.transfer == "pq":
        return scene_light(signal, encoding).astype(np.float32)
    scale = np.float32((_TABLE_SIZE - 1) / (SIGNAL_HIGH - SIGNAL_LOW))
    index = (signal - np.float32(SIGNAL_LOW)) * scale + np.float32(0.5)
    np.clip(index, 0, _TABLE_SIZE - 1, out=index)
    light = _light_table(encoding.transfer, encoding.range)[index.astype(np.uint16)]
    matrix = rgb_to_rgb(encoding.primaries, "bt2020").astype(np.float32)
    result: NDArray[np.float32] = light @ matrix.T
    return result


@cache
def _light_table(transfer: str, code_range: CodeRange) -> NDArray[np.float32]:
    steps = np.linspace(SIGNAL_LOW, SIGNAL_HIGH, _TABLE_SIZE)
    table = TRANSFERS[transfer].to_light(steps, code_range).astype(np.float32)
    table.setflags(write=False)
    return table
