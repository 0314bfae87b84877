"""Looks that nobody tuned for the health test: published formulas, and random recipes.

Formulas work on display light (signal^2.4) of each channel unless they say so, exposed so that
white falls on white. Coefficients are those of the sources named; what is not in a source, such as
an exposure, is said beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.cdl import saturate
from evenhand.colourmath.hdr import pq_eotf, pq_inverse_eotf
from evenhand.colourmath.primaries import luminance_weights, rgb_to_rgb
from evenhand.colourmath.white import levelling_matrix
from evenhand.grade.document import White
from evenhand.grade.moves import Middle, Operator, Tone, ToneInStops
from evenhand.grade.operators import Density, Lean, Mix, Print, Saturation, SplitTone, Turn
from evenhand.grade.output_transforms import PlainSetting, render
from evenhand.grade.recipe import Recipe, RecipeError, checked
from evenhand.grade.uniform import ModelName

Floats = NDArray[np.float64]
Transform = Callable[[Floats], Floats]
_WEIGHTS = luminance_weights("bt709")


def _curve(of_light: Callable[[Floats], Floats], pinned: bool = True) -> Transform:
    """A curve of light a channel; `pinned` scales it so that white stays white."""
    top = float(of_light(np.array([1.0]))[0]) if pinned else 1.0
    bottom = float(of_light(np.array([0.0]))[0]) if pinned else 0.0

    def apply(signal: Floats) -> Floats:
        out = (of_light(signal**2.4) - bottom) / (top - bottom)
        return np.clip(out, 0.0, 1.0) ** (1 / 2.4)

    return apply


def _of_luminance(of_light: Callable[[Floats], Floats]) -> Transform:
    """The same curve on luminance, colour kept as a ratio."""
    top = float(of_light(np.array([1.0]))[0])

    def apply(signal: Floats) -> Floats:
        light = signal**2.4
        y = np.maximum((light @ _WEIGHTS)[:, None], 1e-6)
        return np.clip(light * (of_light(y) / top) / y, 0.0, 1.0) ** (1 / 2.4)

    return apply


def reinhard(exposure: float) -> Callable[[Floats], Floats]:
    """Reinhard et al. 2002, equation 4, with L_white at the exposed white."""
    return lambda x: exposure * x * (1 + x / exposure) / (1 + exposure * x)


def naka_rushton(power: float, half: float) -> Callable[[Floats], Floats]:
    """Naka and Rushton 1966: x^n / (x^n + s^n)."""
    return lambda x: x**power / (x**power + half**power)


def hurter_driffield(gamma: float, densest: float) -> Callable[[Floats], Floats]:
    """A negative and its print by the S-shaped law of density against log exposure.

    Hurter and Driffield 1890 for the axes; the logistic form is common practice. Exposure is set so
    that 18 % grey lies in the middle of both scales.
    """

    def density(log_exposure: Floats, steep: float) -> Floats:
        return densest / (1 + np.exp(-4 * steep * log_exposure / densest))

    def curve(x: Floats) -> Floats:
        negative = density(np.log10(np.maximum(x, 10**-3.2) / 0.18), 0.6)
        printed = density(densest / 2 - negative, gamma / 0.6)
        return 10.0**-printed

    return curve


def hable(x: Floats) -> Floats:
    """Hable 2010, with its seven constants; white 11.2, exposed by 4 (ours)."""
    a, b, c, d, e, f = 0.15, 0.50, 0.10, 0.20, 0.02, 0.30
    x = 4.0 * x
    return (x * (a * x + c * b) + d * e) / (x * (a * x + b) + d * f) - e / f


def narkowicz(x: Floats) -> Floats:
    """Narkowicz 2015, fit of the ACES 1 output transform; exposed by 1.2 (ours)."""
    x = 1.2 * x
    return (x * (2.51 * x + 0.03)) / (x * (2.43 * x + 0.59) + 0.14)


def hill(signal: Floats) -> Floats:
    """Hill's fit of the ACES 1 reference output transform with its two matrices; exposed by 1.8."""
    into = np.array(
        [[0.59719, 0.35458, 0.04823], [0.07600, 0.90834, 0.01566], [0.02840, 0.13383, 0.83777]]
    )
    back = np.array(
        [
            [1.60475, -0.53108, -0.07367],
            [-0.10208, 1.10813, -0.00605],
            [-0.00327, -0.07276, 1.07602],
        ]
    )
    v = 1.8 * signal**2.4 @ into.T
    v = (v * (v + 0.0245786) - 0.000090537) / (v * (0.983729 * v + 0.4329510) + 0.238081)
    return np.clip(v @ back.T, 0, 1) ** (1 / 2.4)


def lottes(x: Floats) -> Floats:
    """Lottes 2016: x^a / (x^(a d) b + c); contrast 1.6, shoulder 0.977, white 8, 18 to 26.7 %."""
    a, d, white, m_in, m_out = 1.6, 0.977, 8.0, 0.18, 0.267
    den = (white ** (a * d) - m_in ** (a * d)) * m_out
    b = (-(m_in**a) + white**a * m_out) / den
    c = (white ** (a * d) * m_in**a - white**a * m_in ** (a * d) * m_out) / den
    return (8.0 * x / 2) ** a / ((8.0 * x / 2) ** (a * d) * b + c)


def drago(x: Floats) -> Floats:
    """Drago et al. 2003, bias 0.85, world maximum 20 (ours)."""
    y, top = 20.0 * x, 20.0
    share = np.maximum(y / top, 1e-9) ** (np.log(0.85) / np.log(0.5))
    return np.log1p(y) / np.log(2 + 8 * share) / np.log10(top + 1)


def schlick(p: float) -> Callable[[Floats], Floats]:
    """Schlick 1994: p x / (p x − x + 1)."""
    return lambda x: p * x / (p * x - x + 1)


def uchimura(x: Floats) -> Floats:
    """Uchimura 2017: toe, straight part, shoulder, with its constants 1, 1, 0.22, 0.4, 1.33."""
    peak, a, m, long, c = 1.0, 1.0, 0.22, 0.4, 1.33
    l0 = (peak - m) * long / a
    s0, s1 = m + l0, m + a * l0
    c2 = a * peak / (peak - s1)
    w0 = 1 - np.clip(x / m, 0, 1) ** 2 * (3 - 2 * np.clip(x / m, 0, 1))
    w2 = (x > m + l0).astype(float)
    toe, line = m * (np.maximum(x, 0) / m) ** c, m + a * (x - m)
    return (
        toe * w0 + line * (1 - w0 - w2) + (peak - (peak - s1) * np.exp(-c2 * (x - s0) / peak)) * w2
    )


def eetf(target: float) -> Callable[[Floats], Floats]:
    """ITU-R BT.2390 5.4.1: from a 1000 cd/m² source to `target` of it, Hermite spline in PQ."""
    top = float(pq_inverse_eotf(np.array(1000.0)))
    limit = float(pq_inverse_eotf(np.array(1000.0 * target))) / top
    knee = 1.5 * limit - 0.5

    def curve(x: Floats) -> Floats:
        e1 = pq_inverse_eotf(1000.0 * x) / top
        t = np.clip((e1 - knee) / (1 - knee), 0, 1)
        spline = (
            (2 * t**3 - 3 * t**2 + 1) * knee
            + (t**3 - 2 * t**2 + t) * (1 - knee)
            + (-2 * t**3 + 3 * t**2) * limit
        )
        return pq_eotf(np.where(e1 < knee, e1, spline) * top)

    return curve


def braun_fairchild(centre: float, width: float) -> Transform:
    """Braun and Fairchild 1999: a cumulative normal on lightness (here on signal)."""
    grid = np.linspace(0, 1, 2001)
    table = np.cumsum(np.exp(-((grid - centre) ** 2) / (2 * width**2)))
    table = (table - table[0]) / (table[-1] - table[0])
    return lambda signal: np.interp(signal, grid, table)


def aces(name: str, exposure: float) -> Transform:
    """An ACES output transform on display light as if it were the scene's, exposed (ours)."""
    plain = PlainSetting(1.0, True, False)
    to_ap1 = rgb_to_rgb("bt709", "ap1").T
    return lambda v: render(name, exposure * v**2.4 @ to_ap1, plain)


def matrix(rows: object) -> Transform:
    """A matrix on signal, cut by the display."""
    m = np.array(rows, float)
    return lambda v: np.clip(v @ m.T, 0, 1)


def sepia(s: float) -> Transform:
    """W3C Filter Effects 1, sepia(1 − s)."""
    whole = np.array([[0.393, 0.769, 0.189], [0.349, 0.686, 0.168], [0.272, 0.534, 0.131]])
    return matrix(whole + s * (np.eye(3) - whole))


def hue_rotate(degrees: float) -> Transform:
    """W3C Filter Effects 1, hueRotate."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    lum = np.array([[0.213, 0.715, 0.072]] * 3)
    cos = np.eye(3) - lum
    sin = np.array([[-0.213, -0.715, 0.928], [0.143, 0.140, -0.283], [-0.787, 0.715, 0.072]])
    return matrix(lum + c * cos + s * sin)


def css_saturate(s: float) -> Transform:
    """W3C Filter Effects 1, saturate; 0 is its grayscale."""
    lum = np.array([[0.213, 0.715, 0.072]] * 3)
    return matrix(lum + s * (np.eye(3) - lum))


def css_contrast(amount: float) -> Transform:
    """W3C Filter Effects 1, contrast."""
    return lambda v: np.clip((v - 0.5) * amount + 0.5, 0, 1)


def blended(mode: str, amount: float) -> Transform:
    """The picture's own luma laid over it: W3C Compositing 1, overlay and soft-light."""

    def apply(v: Floats) -> Floats:
        s = (v @ np.array([0.2126, 0.7152, 0.0722]))[:, None] + 0 * v
        if mode == "overlay":
            out = np.where(v <= 0.5, 2 * v * s, 1 - 2 * (1 - v) * (1 - s))
        else:
            d = np.where(v <= 0.25, ((16 * v - 12) * v + 4) * v, np.sqrt(v))
            out = np.where(s <= 0.5, v - (1 - 2 * s) * v * (1 - v), v + (2 * s - 1) * (d - v))
        return v + amount * (out - v)

    return apply


def cdl(slope: object, offset: object, power: object, sat: float) -> Transform:
    """ASC CDL 1.2 on display signal."""
    s, o, p = (np.array(x, float) for x in (slope, offset, power))
    return lambda v: np.clip(saturate(np.clip(v * s + o, 0, 1) ** p, sat), 0, 1)


def white_shift(mired: float, duv: float) -> Transform:
    """CAT16 (Li et al. 2017) of the light, as if the scene's light had that white."""
    white = White(kelvin=1e6 / (1e6 / 6504 + mired), duv=0.0032 + duv)
    m = levelling_matrix(0.0, white, "bt709")
    return lambda v: np.clip(v**2.4 @ m.T, 0, 1) ** (1 / 2.4)


def dyes(gamma: float, cross: float) -> Transform:
    """Beer and Lambert: density times gamma, with a share of the other dyes' density."""

    def apply(v: Floats) -> Floats:
        density = -np.log10(np.maximum(v**2.4, 10**-3.5))
        density = density + cross * (density - density.mean(axis=1, keepdims=True))
        return np.clip(10 ** (-gamma * density), 0, 1) ** (1 / 2.4)

    return apply


def published() -> Iterator[tuple[str, Transform, bool]]:
    """Name, look, and whether greys stay grey."""
    yield from _tone_curves()
    yield from _of_the_web()
    yield from _of_colour()


def _tone_curves() -> Iterator[tuple[str, Transform, bool]]:
    for e in (2.0, 4.0, 16.0):
        yield f"Reinhard 2002, exposure {e:g}", _curve(reinhard(e)), True
        yield f"Reinhard 2002 on luminance, exposure {e:g}", _of_luminance(reinhard(e)), True
    for n, s in ((0.7, 0.18), (1.0, 0.3), (1.4, 0.3)):
        yield f"Naka-Rushton {n:g}", _curve(naka_rushton(n, s)), True
    for gamma, densest in ((1.2, 2.4), (1.6, 2.8), (2.2, 3.0), (2.8, 3.2)):
        yield f"Hurter-Driffield print {gamma:g}", _curve(hurter_driffield(gamma, densest)), True
    named = {"Hable 2010": hable, "Narkowicz 2015": narkowicz, "Lottes 2016": lottes}
    for name, curve in (named | {"Drago 2003": drago, "Uchimura 2017": uchimura}).items():
        yield name, _curve(curve), True
    for p in (2.0, 5.0, 20.0):
        yield f"Schlick 1994, {p:g}", _curve(schlick(p)), True
    for target in (0.5, 0.25, 0.1):
        yield f"BT.2390 EETF to {target:g}", _curve(eetf(target)), True
    for centre, width in ((0.5, 0.3), (0.5, 0.2), (0.55, 0.15)):
        yield f"Braun-Fairchild 1999, {width:g}", braun_fairchild(centre, width), True


def _of_the_web() -> Iterator[tuple[str, Transform, bool]]:
    for s in (0.0, 0.4, 0.7):
        yield f"W3C sepia, {1 - s:.1f}", sepia(s), False
    for degrees in (5, 12, 30, 90):
        yield f"W3C hue-rotate {degrees}", hue_rotate(degrees), True
    for s in (0.0, 0.4, 0.8, 1.15, 1.4, 2.0):
        yield f"W3C saturate {s:g}", css_saturate(s), True
    for c in (0.8, 1.15, 1.4, 2.0):
        yield f"W3C contrast {c:g}", css_contrast(c), True
    for mode in ("overlay", "soft-light"):
        for amount in (0.3, 1.0):
            yield f"W3C {mode} of luma, {amount:g}", blended(mode, amount), True


def _of_colour() -> Iterator[tuple[str, Transform, bool]]:
    yield "Hill's ACES fit", hill, True
    for e in (0.7, 1.5):
        yield f"ACES 2 SDR, exposure {e:g}", aces("aces2-sdr", e), True
    yield "ASC CDL warm", cdl((1.04, 1, 0.94), (0, 0, 0.01), (0.98, 1, 1.04), 0.9), False
    yield "ASC CDL teal", cdl((1.02, 1, 0.97), (-0.02, 0.005, 0.02), (1.05, 1, 0.95), 1.1), False
    yield "ASC CDL hard", cdl((1.2, 1.2, 1.2), (-0.06,) * 3, (1.1,) * 3, 1.2), True
    for mired, duv in ((-25, 0), (25, 0), (60, 0), (0, 0.006), (0, -0.006)):
        yield f"CAT16 by {mired} mired, Duv {duv:g}", white_shift(mired, duv), False
    for gamma, cross in ((1.1, 0.0), (1.3, 0.15), (1.6, 0.3), (0.8, -0.1)):
        yield f"dyes, gamma {gamma:g}, crosstalk {cross:g}", dyes(gamma, cross), True


class _Random:
    """Settings at random, spread over a share of the way to the end of what is legal."""

    def __init__(self, rng: np.random.Generator, share: float) -> None:
        self.rng, self.share = rng, share

    def near(self, neutral: float, low: float, high: float) -> float:
        return float(neutral + self.share * (self.rng.uniform(low, high) - neutral))

    def some(self, chance: float) -> bool:
        return bool(self.rng.random() < chance)

    def steps(self) -> list[Operator]:
        steps: list[Operator] = [*self._tones()]
        if self.some(0.5):
            dark, mid, light = (self.near(1, 0.3, 1.3) for _ in range(3))
            steps.append(Saturation(dark=dark, mid=mid, light=light))
        steps += [self._turn() for _ in range(int(self.rng.integers(0, 4)))]
        if self.some(0.45):
            dark_lean, light_lean = self._lean(), self._lean()
            balance, keep = self.near(0.5, 0.3, 0.7), self.near(0.3, 0, 1)
            steps.append(
                SplitTone(dark=dark_lean, light=light_lean, balance=balance, keep_skin=keep)
            )
        if self.some(0.4):
            steps.append(Density(amount=self.near(0, 0, 0.15)))
        if self.some(0.06):
            red, green, blue = self.rng.random(3)
            steps.append(Mix(red=red, green=green, blue=blue))
        return steps

    def _tones(self) -> Iterator[Operator]:
        near = self.near
        if self.some(0.25):
            yield Print(
                gamma=near(1.0, 0.8, 1.3), crosstalk=near(0, -0.1, 0.3), amount=near(0, 0, 1)
            )
        if self.some(0.5):
            yield Tone(
                contrast=near(1, 0.6, 1.6), pivot=near(0.5, 0.4, 0.65), toe=near(0.2, 0, 1),
                shoulder=near(0.2, 0, 1), black=near(0, 0, 0.08), white=near(1, 0.9, 1),
            )  # fmt: skip
        elif self.some(0.6):
            yield ToneInStops(slope=near(1, 0.6, 1.5), toe=near(5, 2, 8), shoulder=near(2, 1, 2.4))
        if self.some(0.4):
            yield Middle(amount=near(0, -0.15, 0.15))

    def _turn(self) -> Operator:
        half = float(self.rng.uniform(40, 120))
        return Turn(
            hue=float(self.rng.uniform(0, 360)), half_width=half,
            turn=self.near(0, -0.4, 0.4) * half, chroma=self.near(1, 0.6, 1.3),
            lightness=self.near(0, -0.05, 0.05),
        )  # fmt: skip

    def _lean(self) -> Lean:
        return Lean(hue=float(self.rng.uniform(0, 360)), amount=self.near(0, 0, 0.025))


SHARES: Final = (0.4, 0.7, 1.0)


def random_recipes(count: int, seed: int = 2026) -> Iterator[Recipe]:
    """Random legal looks, a third each at 40, 70 and 100 % of the legal ranges."""
    rng = np.random.default_rng(seed)
    made = 0
    while made < count:
        share = SHARES[made % len(SHARES)]
        model: ModelName = "ipt" if made % 2 else "oklab"
        recipe = Recipe(
            name=f"random-{made}", title="random", purpose="random",
            model=model, steps=tuple(_Random(rng, share).steps()),
        )  # fmt: skip
        try:
            yield checked(recipe)
        except RecipeError:
            continue
        made += 1
