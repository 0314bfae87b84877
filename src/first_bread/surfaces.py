"""What a point of a scene looks like: reflectance, relief and shine, or what a lamp sends out."""

from __future__ import annotations

from typing import Any

from first_bread import round_surfaces as rounded
from first_bread.compiling import inner
from first_bread.flat_surfaces import FLAT_LAST, axes_of, flat_surface
from first_bread.noise import fractal, smooth, value_noise
from first_bread.records import (
    CHART,
    CLOTH,
    CRUST,
    DOUGH,
    FIRE,
    HAIR,
    LEAVES,
    POSTER,
    POWDER,
    SACK,
    SKIN,
    SLATE,
    STEEL,
    STREET,
    WICKER,
    World,
)
from first_bread.reflectances import ROW
from first_bread.vectors import Triple, mix

_FLOUR = ROW["flour"]
_BRIGHTEST = 0.92
_LEVEL = (0.0, 0.0, 0.0)


@inner
def _food(world: World, shape: Any, kind: int, c: Triple, p: Triple, up: float) -> rounded.Surface:
    if kind == CRUST:
        return rounded.crust(world.albedo, shape, p, up)
    if kind == DOUGH:
        return rounded.dough(shape, c, p, up)
    return rounded.powder(shape, c, p)


@inner
def _worn(
    world: World,
    shape: Any,
    kind: int,
    part: int,
    c: Triple,
    p: Triple,
    uv: tuple[float, float],
    footprint: float,
    d: Triple,
) -> rounded.Surface:
    found = rounded.cloth(shape, c, p, uv[0], uv[1], footprint)
    if part >= 0 and world.parts[part].stripe > 0:
        return rounded.striped_cloth(world.parts[part], world.albedo, c, p, footprint, found)
    if kind == SACK:
        return rounded.sack_bands(d, p, uv[0], uv[1], shape.seed, found)
    return found


@inner
def _thing(
    world: World,
    shape: Any,
    kind: int,
    c: Triple,
    d: Triple,
    p: Triple,
    n: Triple,
    uv: tuple[float, float],
    footprint: float,
) -> rounded.Surface:
    if kind == STEEL:
        return rounded.steel(c, p, uv[0], uv[1], shape.seed, footprint)
    if kind == SLATE:
        return rounded.slate(world.albedo, shape, c, uv[0], uv[1])
    if kind == CHART:
        return rounded.chart(world.albedo, shape, c, p, n)
    if kind == POSTER:
        return rounded.poster(shape, c, d, uv[0], uv[1])
    if kind == LEAVES:
        return rounded.leaves(c, p, shape.seed)
    return rounded.plain(c, p, shape.seed)


@inner
def _pick(p: Triple, axis: int) -> float:
    if axis == 0:
        return p[0]
    return p[1] if axis == 1 else p[2]


@inner
def _round(
    world: World,
    shape: Any,
    kind: int,
    part: int,
    c: Triple,
    d: Triple,
    p: Triple,
    n: Triple,
    up: float,
    footprint: float,
) -> rounded.Surface:
    if CRUST <= kind <= POWDER:
        return _food(world, shape, kind, c, p, up)
    if kind == SKIN:
        return rounded.skin(shape, c, p)
    if kind == HAIR:
        return rounded.hair(c, p, shape.seed)
    if kind == WICKER:
        return rounded.wicker(c, p, n, shape.seed)
    a, b = axes_of(shape, kind, n)
    uv = (_pick(p, a), _pick(p, b))
    if kind in (CLOTH, SACK):
        return _worn(world, shape, kind, part, c, p, uv, footprint, d)
    return _thing(world, shape, kind, c, d, p, n, uv, footprint)


@inner
def surface(
    world: World, i: int, part: int, p: Triple, n: Triple, up: float, footprint: float
) -> rounded.Surface:
    """Colour, addition to the local normal, (sheen, gloss, mirror share) and flour share.

    p and n are the point and the normal in the axes of shape i, `up` the normal's share of the
    world's vertical, `footprint` how many metres a pixel covers.
    """
    shape = world.shapes[i]
    kind = shape.surface
    first = shape.colour
    second = shape.second
    if part >= 0 and world.parts[part].surface >= 0:
        kind = world.parts[part].surface
        first = world.parts[part].colour
        second = first
    c = rounded.row(world.albedo, first)
    d = rounded.row(world.albedo, second)
    if kind <= FLAT_LAST:
        colour, bump, finish, flour = flat_surface(
            shape, kind, world.albedo, c, d, p, n, up, footprint
        )
    else:
        colour, bump, finish, flour = _round(world, shape, kind, part, c, d, p, n, up, footprint)
    colour = mix(colour, rounded.row(world.albedo, _FLOUR), flour)
    colour = (min(colour[0], _BRIGHTEST), min(colour[1], _BRIGHTEST), min(colour[2], _BRIGHTEST))
    return colour, bump, finish, flour


@inner
def _fire(shape: Any, p: Triple) -> float:
    s = shape.seed
    strength = 0.06 + 2.8 * smooth(0.40, 0.78, fractal(p[0] * 14, p[1] * 5 + s, p[2] * 14, 4))
    tongue = 0.9 * (fractal(p[0] * 11, p[1] * 4, s + 3, 3) - 0.3)
    strength *= smooth(1.0, 0.45, abs(p[0]) / shape.hx)
    return strength * smooth(0.9, 0.1, p[1] / shape.hy * 0.75 + tongue)


@inner
def _street(shape: Any, p: Triple) -> float:
    """A street out of focus behind a window: roofs below, sky above."""
    roofs = value_noise(p[2] * 2.2 + shape.seed, 1.5, 3.0) * 0.5
    roofs += value_noise(p[2] * 6.1, 2.5, 3.0) * 0.25
    if p[1] < -0.35 + 0.8 * (roofs - 0.3):
        return 0.12 + 0.25 * value_noise(p[2] * 9, p[1] * 5, 2.0)
    return 0.55 + 0.5 * smooth(-0.3, 0.9, p[1])


@inner
def emission(shape: Any, p: Triple) -> float:
    """How bright a lamp's face is at local point p, as a factor on its radiance."""
    if shape.pattern == FIRE:
        return _fire(shape, p)
    if shape.pattern == STREET:
        return _street(shape, p)
    return 1.0
