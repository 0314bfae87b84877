"""The perceptually even spaces that display looks are made in, and smooth weights over them.

Display signal is R'G'B' 0..1 of BT.709, light by BT.1886 with a black of 0. A colour is (..., 3)
float64: lightness 0..1, and two opponent values that are 0 on the grey axis to the last digit. Both
spaces are a matrix, a power and a matrix, so they have a closed inverse.

Oklab: B. Ottosson, "A perceptual color space for image processing", 2020; its lightness is the
better one. IPT: F. Ebner and M. Fairchild, 1998; where blues change in lightness its hue lines are
straighter: on the loci of Hung & Berns (1995) at varying lightness blue strays by 7.0 degrees,
Oklab's by 10.7, CIELAB's by 20.9.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from evenhand.colourmath.curves import Array, mirrored_power
from evenhand.colourmath.primaries import rgb_to_xyz

GAMMA: Final = 2.4
ModelName = Literal["oklab", "ipt"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Model:
    """One even space over linear BT.709: cones = to_cones @ light, lab = to_lab @ cones^exponent.

    `skin_hue` and `skin_width` (degrees) hold the skins of the published charts.
    """

    name: ModelName
    title: str
    to_cones: Array
    to_lab: Array
    exponent: float
    skin_hue: float
    skin_width: float
    from_cones: Array
    from_lab: Array


def _model(
    name: ModelName, title: str, matrices: tuple[Array, Array], exponent: float, hue: float
) -> Model:
    """A model with its matrices made exact.

    Rows of the first sum to 1 and rows 2 and 3 of the second to 0, or the rounding of their
    decimals would tint greys by 1e-5.
    """
    to_cones, to_lab = (matrix.copy() for matrix in matrices)
    to_cones /= to_cones.sum(axis=1, keepdims=True)
    to_lab[1:] -= to_lab[1:].mean(axis=1, keepdims=True)
    to_lab[0] /= to_lab[0].sum()
    inverses: tuple[Array, Array] = (
        np.linalg.inv(to_cones).astype(np.float64),
        np.linalg.inv(to_lab).astype(np.float64),
    )
    for matrix in (to_cones, to_lab, *inverses):
        matrix.setflags(write=False)
    return Model(
        name=name,
        title=title,
        to_cones=to_cones,
        to_lab=to_lab,
        exponent=exponent,
        skin_hue=hue,
        skin_width=48.0,
        from_cones=inverses[0],
        from_lab=inverses[1],
    )


_OKLAB_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_OKLAB_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_IPT_CONES = np.array([[0.4002, 0.7075, -0.0807], [-0.2280, 1.1500, 0.0612], [0.0, 0.0, 0.9184]])
# P and T are scaled so that a BT.709 colour has the same chroma in both spaces in the mean: amounts
# of chroma then mean the same in every document.
IPT_SCALE: Final = 0.435
_IPT_LAB = np.array([[0.4, 0.4, 0.2], [4.4550, -4.8510, 0.3960], [0.8056, 0.3572, -1.1628]])
_IPT_LAB[1:] *= IPT_SCALE

OKLAB: Final = _model("oklab", "Oklab", (_OKLAB_CONES, _OKLAB_LAB), 1.0 / 3.0, 50.0)
IPT: Final = _model("ipt", "IPT", (_IPT_CONES @ rgb_to_xyz("bt709"), _IPT_LAB), 0.43, 52.0)
MODELS: Final[dict[str, Model]] = {model.name: model for model in (OKLAB, IPT)}


def light_to_lab(light: Array, model: Model = OKLAB) -> Array:
    """Linear BT.709 display light to the even space."""
    cones = light @ model.to_cones.T
    powered = np.cbrt(cones) if model is OKLAB else mirrored_power(cones, model.exponent)
    result: Array = powered @ model.to_lab.T
    return result


def lab_to_light(lab: Array, model: Model = OKLAB) -> Array:
    """The inverse; outside the display light falls below 0 or above 1."""
    cones = lab @ model.from_lab.T
    light = cones**3 if model is OKLAB else mirrored_power(cones, 1.0 / model.exponent)
    result: Array = light @ model.from_cones.T
    return result


def signal_to_lab(signal: Array, model: Model = OKLAB) -> Array:
    """Display signal to the even space; signal is cut to 0..1."""
    return light_to_lab(np.clip(signal, 0.0, 1.0) ** GAMMA, model)


def lab_to_signal(lab: Array, model: Model = OKLAB) -> Array:
    """The even space to display signal 0..1; what the display cannot show is cut."""
    result: Array = np.clip(lab_to_light(lab, model), 0.0, 1.0) ** (1.0 / GAMMA)
    return result


def grey_light(lab: Array, model: Model = OKLAB) -> Array:
    """Light 0..1 of the grey that has this lightness."""
    result: Array = np.clip(lab[..., 0], 0.0, 1.0) ** (1.0 / model.exponent)
    return result


def grey_signal(lab: Array, model: Model = OKLAB) -> Array:
    """Display signal 0..1 of the grey that has this lightness."""
    result: Array = np.clip(lab[..., 0], 0.0, 1.0) ** (1.0 / (model.exponent * GAMMA))
    return result


def zone_lightness(lab: Array, model: Model = OKLAB) -> Array:
    """Lightness 0..1 on Oklab's scale, whatever the model: what zones are cut by."""
    clipped = np.clip(lab[..., 0], 0.0, 1.0)
    return clipped if model is OKLAB else clipped ** (1.0 / (3.0 * model.exponent))


def with_grey(lab: Array, signal: Array, follow: float, model: Model = OKLAB) -> Array:
    """The lightness of another grey; chroma goes by (L_out/L_in)^follow, within a factor 1.65."""
    lightness = signal ** (GAMMA * model.exponent)
    ratio = np.log((lightness + 0.02) / (np.maximum(lab[..., 0], 0.0) + 0.02))
    factor = np.exp(0.5 * np.tanh(2.0 * follow * ratio))
    return np.concatenate([lightness[..., None], lab[..., 1:] * factor[..., None]], axis=-1)


def smooth_step(x: Array) -> Array:
    """0 below 0, 1 above 1, with slope and curvature 0 at both ends."""
    t = np.clip(x, 0.0, 1.0)
    return t * t * t * (t * (t * 6.0 - 15.0) + 10.0)


def chroma(lab: Array) -> Array:
    """Distance from the grey axis."""
    result: Array = np.hypot(lab[..., 1], lab[..., 2])
    return result


def hue_weight(lab: Array, centre: float, half_width: float) -> Array:
    """1 at hue `centre`, 0 from `half_width` degrees on: cos to the fourth, so C3 at its ends."""
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    turns = (hue - np.radians(centre)) / (2.0 * np.pi)
    away = 360.0 * (turns - np.rint(turns)) / half_width
    result: Array = np.cos(np.clip(away, -1.0, 1.0) * np.pi / 2.0) ** 4
    return result


# Chroma at which a colour counts wholly as skin.
_SKIN_CHROMA: Final = 0.045


def skin_weight(lab: Array, model: Model = OKLAB) -> Array:
    """1 on the hues of published skin reflectances, smoothly 0 elsewhere and on grey."""
    hue = hue_weight(lab, model.skin_hue, model.skin_width)
    result: Array = hue * smooth_step(chroma(lab) / _SKIN_CHROMA)
    return result


_HUES: Final = (
    (25, "red"), (55, "orange"), (85, "amber"), (108, "yellow"), (130, "olive"), (148, "green"),
    (180, "sea green"), (210, "cyan"), (240, "sky blue"), (265, "blue"), (300, "violet"),
    (335, "magenta"), (360, "pink"),
)  # fmt: skip


def hue_name(degrees: float, model: Model = OKLAB) -> str:
    """The nearest word for a hue of the model, with the angle."""
    seen = _in_oklab(degrees, model.name)
    away = [(abs((seen - centre + 180.0) % 360.0 - 180.0), word) for centre, word in _HUES]
    return f"{min(away)[1]} ({degrees:.0f}°)"


@cache
def _in_oklab(degrees: float, name: str) -> float:
    if name == OKLAB.name:
        return degrees
    hue = np.radians(degrees)
    lab = np.array([0.5, 0.08 * np.cos(hue), 0.08 * np.sin(hue)])
    _, a, b = light_to_lab(lab_to_light(lab, MODELS[name]))
    return float(np.degrees(np.arctan2(b, a)))


@cache
def skin_steepness(degrees: float, name: ModelName) -> float:
    """The fastest growth of `skin_weight` towards a hue, per unit of chroma.

    A lean of `amount` towards that hue, spared on skin by `keep`, folds no colours while
    amount · keep · steepness stays below 1.
    """
    hue, far = np.meshgrid(np.radians(np.arange(0, 360, 2)), np.linspace(0.001, 0.09, 90))
    lab = np.stack([np.full_like(hue, 0.5), far * np.cos(hue), far * np.sin(hue)], axis=-1)
    step = 1e-5 * np.array([0.0, np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    model = MODELS[name]
    growth = skin_weight(lab + step, model) - skin_weight(lab - step, model)
    return float(growth.max() / 2e-5)
