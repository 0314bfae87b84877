"""Surfaces in space: bread and dough, cloth, skin, hair, metal, basketwork, writing, leaves.

Every function gives (colour, addition to the normal, (sheen, gloss, mirror share), flour share).
"""

from __future__ import annotations

import math
from typing import Any

from first_bread.compiling import inner
from first_bread.noise import cell, fractal, smooth, value_noise
from first_bread.records import Table
from first_bread.reflectances import ROW
from first_bread.vectors import Triple, mix, mul, scale

Surface = tuple[Triple, Triple, Triple, float]

_FLOUR = ROW["flour"]
_GOLD = ROW["crust_gold"]
_BROWN = ROW["crust_brown"]
_DARK = ROW["crust_dark"]
_CRUMB = ROW["crumb"]
_FIRST_PATCH = ROW["patch_1"]
_LEVEL = (0.0, 0.0, 0.0)


@inner
def row(albedo: Table, k: int) -> Triple:
    """One reflectance as a triple."""
    return albedo[k, 0], albedo[k, 1], albedo[k, 2]


@inner
def _gradient(p: Triple, f: float, s: float, e: float) -> Triple:
    """Slope of three octaves of noise with frequency f."""
    here = fractal(p[0] * f, p[1] * f, p[2] * f + s, 3)
    return (
        (fractal((p[0] + e) * f, p[1] * f, p[2] * f + s, 3) - here) / e,
        (fractal(p[0] * f, (p[1] + e) * f, p[2] * f + s, 3) - here) / e,
        (fractal(p[0] * f, p[1] * f, (p[2] + e) * f + s, 3) - here) / e,
    )


@inner
def _baked(albedo: Table, shape: Any, p: Triple) -> Triple:
    """Colour of a crust: gold below and in the cracks, dark where it stood up to the heat."""
    s = shape.seed
    patches = fractal(p[0] * 28 + s, p[1] * 28, p[2] * 28, 4)
    high = smooth(-0.25, 0.95, p[1] / shape.ey)
    brown = min(max(0.02 + 0.60 * high + 0.9 * (patches - 0.48), 0.0), 1.0)
    colour = mix(row(albedo, _GOLD), row(albedo, _BROWN), brown)
    return mix(colour, row(albedo, _DARK), 0.6 * smooth(0.50, 0.80, patches + 0.22 * high))


@inner
def _slash(
    albedo: Table, shape: Any, p: Triple, up: float, colour: Triple
) -> tuple[Triple, float, float]:
    """Oblique cuts, pale and with a raised ear: colour, tilt of the normal, distance to a cut."""
    half = shape.ex
    pitch = half * 0.46
    wave = 0.006 * (value_noise(p[0] * 40, p[2] * 40, shape.seed) - 0.5)
    q = (p[0] * 0.82 + p[2] * 0.95 + wave) / pitch + 0.5
    a = q - math.floor(q) - 0.5
    cut = abs(a) * pitch
    if up < 0.1 or abs(p[0]) > half * 0.70:
        return colour, 0.0, cut
    inside = smooth(half * 0.085, half * 0.05, cut) * smooth(0.1, 0.5, up)
    torn = 0.55 + 0.9 * (fractal(p[0] * 70, p[1] * 20, p[2] * 70 + shape.seed, 3) - 0.45)
    pale = mul(mix(row(albedo, _CRUMB), row(albedo, _GOLD), 0.5), (1.0, 0.95, 0.85))
    colour = mix(colour, pale, inside * torn)
    if half * 0.05 < cut < half * 0.10:
        colour = mul(colour, (0.55, 0.5, 0.5))
    ear = smooth(half * 0.12, half * 0.075, cut) - smooth(half * 0.06, half * 0.03, cut)
    return colour, 0.9 * math.copysign(ear, a), cut


@inner
def crust(albedo: Table, shape: Any, p: Triple, up: float) -> Surface:
    """Bread."""
    s = shape.seed
    colour = _baked(albedo, shape, p)
    tilt = 0.0
    cut = 9.0
    if shape.slashed > 0:
        colour, tilt, cut = _slash(albedo, shape, p, up, colour)
    dust = fractal(p[0] * 16 + 3, p[1] * 16, p[2] * 16 + s, 4) + 0.10 * up
    dust += 0.22 * (value_noise(p[0] * 300, p[1] * 300, p[2] * 300) - 0.5)
    flour = 0.75 * smooth(0.50, 0.70, dust) * smooth(0.2, 0.8, up) * shape.flour
    if cut < shape.ex * 0.09:
        flour *= 0.15
    g = scale(_gradient(p, 120.0, s, 0.0011), -0.0018)
    fine = fractal(p[0] * 110, p[1] * 110 + s, p[2] * 110, 3)
    blisters = smooth(0.62, 0.74, value_noise(p[0] * 210, p[1] * 210, p[2] * 210 + s))
    colour = scale(colour, 1.0 + 0.5 * fine - 0.25 * blisters)
    bump = (g[0] + tilt, g[1], g[2] + tilt)
    return colour, bump, (0.55 * (1.0 - flour), 16.0, 0.0), flour


@inner
def dough(shape: Any, c: Triple, p: Triple, up: float) -> Surface:
    """Dough under a veil of flour."""
    s = shape.seed
    gain = 0.93 + 0.12 * fractal(p[0] * 30 + s, p[1] * 30, p[2] * 30, 3)
    dust = fractal(p[0] * 12 + s, p[1] * 12, p[2] * 12, 4)
    dust += 0.25 * (value_noise(p[0] * 240, p[1] * 240, p[2] * 240) - 0.5)
    flour = 0.7 * smooth(0.48, 0.66, dust) * smooth(-0.1, 0.6, up)
    g = _gradient(p, 35.0, s, 0.002)
    return scale(c, gain), (-0.003 * g[0], 0.0, -0.003 * g[2]), (0.22, 10.0, 0.0), flour


@inner
def powder(shape: Any, c: Triple, p: Triple) -> Surface:
    """A heap of flour."""
    gain = 0.9 + 0.16 * fractal(p[0] * 60, p[1] * 60, p[2] * 60 + shape.seed, 4)
    g = _gradient(p, 90.0, 0.0, 0.0016)
    return scale(c, gain), (-0.002 * g[0], 0.0, -0.002 * g[2]), (0.03, 12.0, 0.0), 0.0


@inner
def _fold_height(p: Triple, s: float) -> float:
    return fractal(p[0] * 9 + s, p[1] * 2.2, p[2] * 9, 3)


@inner
def _striped(part: Any, albedo: Table, c: Triple, p: Triple, footprint: float) -> Triple:
    """A knit with stripes of another colour."""
    q = (p[1] + 0.003 * math.sin(p[0] * 60)) / 0.055
    q -= math.floor(q)
    stripe = smooth(0.60, 0.64, q) - smooth(0.93, 0.97, q)
    rows = 1.0 - 0.10 * math.sin(p[1] * 900) / (1.0 + (footprint * 700) ** 2)
    return scale(mix(c, row(albedo, part.stripe), stripe), rows)


@inner
def cloth(shape: Any, c: Triple, p: Triple, u: float, v: float, footprint: float) -> Surface:
    """Woven stuff with folds."""
    s = shape.seed
    e = 0.004
    fx = _fold_height((p[0] + e, p[1], p[2]), s) - _fold_height((p[0] - e, p[1], p[2]), s)
    fz = _fold_height((p[0], p[1], p[2] + e), s) - _fold_height((p[0], p[1], p[2] - e), s)
    weave = math.sin(u * 2400) * math.sin(v * 2400) / (1.0 + (footprint * 1500) ** 2)
    gain = 0.85 + 0.3 * fractal(p[0] * 5 + s, p[1] * 3.0, p[2] * 5, 4) + 0.06 * weave
    gain += 0.16 * (value_noise(u * 500, v * 500, s) - 0.5)
    flour = 0.35 * smooth(0.5, 0.75, fractal(p[0] * 9 + s, p[1] * 9, p[2] * 9 + 4, 4))
    bump = (-fx / e * 0.0105, 0.0, -fz / e * 0.0105)
    return scale(c, gain), bump, (0.12, 5.0, 0.0), flour * shape.flour


@inner
def striped_cloth(
    part: Any, albedo: Table, c: Triple, p: Triple, footprint: float, plain: Surface
) -> Surface:
    """The same cloth with the part's stripe knitted in."""
    gain = plain[0][1] / max(c[1], 1e-6)
    colour = scale(_striped(part, albedo, c, p, footprint), gain)
    return colour, plain[1], plain[2], plain[3]


@inner
def sack_bands(d: Triple, p: Triple, u: float, v: float, s: float, plain: Surface) -> Surface:
    """Sackcloth: two woven bands round the middle."""
    q = abs(p[0])
    if not (0.03 < q < 0.05 or 0.058 < q < 0.066):
        return plain
    k = 0.8 * (0.6 + 0.4 * value_noise(u * 200, v * 200, s))
    return mix(plain[0], d, k), plain[1], plain[2], plain[3]


@inner
def skin(shape: Any, c: Triple, p: Triple) -> Surface:
    """Skin, a little uneven, with flour where the shape has some."""
    s = shape.seed
    gain = 0.91 + 0.12 * fractal(p[0] * 60 + s, p[1] * 60, p[2] * 60, 3)
    gain += 0.08 * (value_noise(p[0] * 22, p[1] * 22 + s, p[2] * 22) - 0.5)
    flour = 0.5 * smooth(0.46, 0.64, fractal(p[0] * 40, p[1] * 40, p[2] * 40, 3)) * shape.flour
    return scale(c, gain), _LEVEL, (0.5, 12.0, 0.0), flour


@inner
def hair(c: Triple, p: Triple, s: float) -> Surface:
    """Hair in strands."""
    gain = 0.6 + 0.8 * value_noise(p[0] * 260, p[1] * 40, p[2] * 260 + s)
    tilt = 0.3 * (value_noise(p[0] * 240, p[1] * 30, p[2] * 240) - 0.5)
    return scale(c, gain), (tilt, 0.0, 0.0), (0.16, 8.0, 0.0), 0.0


@inner
def steel(c: Triple, p: Triple, u: float, v: float, s: float, footprint: float) -> Surface:
    """Brushed metal with smears."""
    brush = (fractal(u * 2, v * 260, s, 3) - 0.45) / (1.0 + (footprint * 400) ** 2)
    smear = smooth(0.5, 0.75, fractal(p[0] * 7 + s, p[1] * 7, p[2] * 7, 5))
    colour = scale(c, 0.5 * (0.72 + 0.5 * brush) * (1.0 - 0.2 * smear))
    finish = (0.6, 500.0 - 380.0 * smear, 0.42 * (1.0 - 0.45 * smear))
    return colour, (0.02 * brush, 0.06 * brush, 0.0), finish, 0.0


@inner
def wicker(c: Triple, p: Triple, n: Triple, s: float) -> Surface:
    """Basketwork on a cylinder."""
    a = math.atan2(p[2], p[0]) * 14
    q = p[1] * 90
    odd = math.floor(a / math.pi) % 2
    weave = math.sin(a * 2) * math.sin(q + (math.pi if odd else 0.0))
    gain = 0.62 + 0.38 * weave + 0.3 * (value_noise(a * 3, q * 2, s) - 0.5)
    bump = (n[0] * weave * 0.5, 0.5 * math.cos(q), n[2] * weave * 0.5)
    return scale(c, gain), bump, (0.3, 12.0, 0.0), 0.0


@inner
def chart(albedo: Table, shape: Any, c: Triple, p: Triple, n: Triple) -> Surface:
    """A chart of 6 x 4 patches on the top face."""
    q = (p[0] / shape.hx + 1.0) * 3.0
    r = (1.0 - p[2] / shape.hz) * 2.0
    a = q - math.floor(q)
    b = r - math.floor(r)
    if 0.09 < a < 0.91 and 0.09 < b < 0.91 and abs(n[1]) > 0.8:
        k = _FIRST_PATCH + math.floor(r) * 6 + math.floor(q)
        return row(albedo, k), _LEVEL, (0.0, 12.0, 0.0), 0.0
    return c, _LEVEL, (0.06, 12.0, 0.0), 0.0


@inner
def _chalk(shape: Any, u: float, v: float) -> float:
    """Lines that look like writing and say nothing: how much chalk there is."""
    place = v / 0.075
    line = math.floor(place)
    stroke = 0.56 * (value_noise(u * 42, line * 7.1, 2.0) - 0.5)
    stroke += 0.1 * math.sin(u * 160 + 3 * value_noise(u * 30, line, 4.0))
    written = value_noise(u * 9, line * 3.3, 8.0) > 0.34 and abs(v) < shape.hy * 0.8
    short = u > shape.hx * (0.2 + 0.6 * cell(int(line), 2, 2)) or abs(u) > shape.hx * 0.8
    if not written or short or abs(place - line - 0.5 - stroke) > 0.085:
        return 0.0
    return 0.75 * (0.5 + 0.5 * value_noise(u * 400, v * 400, shape.seed))


@inner
def slate(albedo: Table, shape: Any, c: Triple, u: float, v: float) -> Surface:
    """A slate with chalk marks."""
    wiped = smooth(0.55, 0.7, fractal(u * 2, v * 5, shape.seed, 5))
    colour = scale(c, 1.0 + 1.5 * wiped)
    colour = mix(colour, row(albedo, _FLOUR), _chalk(shape, u, v))
    return colour, _LEVEL, (0.1, 12.0, 0.0), 0.0


@inner
def poster(shape: Any, c: Triple, d: Triple, u: float, v: float) -> Surface:
    """A printed sheet without words: a sun over three hills in two inks."""
    x = u / shape.hx
    y = v / shape.hy
    ink = 0.0
    if x * x + (y - 0.25) ** 2 * (shape.hy / shape.hx) ** 2 < 0.18:
        ink = 0.9
    for k in range(3):
        if y < -0.15 - 0.22 * k + 0.10 * math.sin(3.0 * x + 2.1 * k + shape.seed):
            ink = 0.35 + 0.3 * k
    if max(abs(x), abs(y)) > 0.86:
        ink = 0.0
    worn = 0.9 + 0.15 * fractal(u * 20, v * 20, shape.seed, 3)
    return scale(mix(c, d, ink), worn), _LEVEL, (0.15, 12.0, 0.0), 0.0


@inner
def leaves(c: Triple, p: Triple, s: float) -> Surface:
    """Leaves close together: light and dark blades and a lively normal."""
    blade = value_noise(p[0] * 34, p[1] * 26, p[2] * 34 + s)
    tilt = value_noise(p[0] * 31, p[1] * 33 + s, p[2] * 31) - 0.5
    bump = (1.6 * tilt, 1.2 * (blade - 0.5), 0.0)
    return scale(c, 0.35 + 1.1 * blade), bump, (0.35, 14.0, 0.01), 0.0


@inner
def plain(c: Triple, p: Triple, s: float) -> Surface:
    """Paint, glaze, stone: nearly even."""
    gain = 0.92 + 0.16 * fractal(p[0] * 14 + s, p[1] * 14, p[2] * 14, 3)
    return scale(c, gain), _LEVEL, (0.25, 12.0, 0.0), 0.0
