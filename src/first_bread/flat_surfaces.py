"""Surfaces with relief over a plane: plaster, tiles, bricks, planks, cobbles, slabs.

Every function gives (colour, (sheen, gloss, mirror share), share of flour). u and v are metres on
the face that is seen, s the shape's seed, c and d the shape's two reflectances.
"""

from __future__ import annotations

import math
from typing import Any

from first_bread.compiling import inner
from first_bread.noise import cell, fractal, smooth, value_noise, voronoi
from first_bread.records import BRICK, COBBLE, PLASTER, SLAB, TILE, WOOD, Table
from first_bread.reflectances import ROW
from first_bread.vectors import Triple, mix, scale

Surface = tuple[Triple, Triple, float]

_MORTAR = ROW["mortar"]
_TILE = 0.1
_COURSE = 0.075
_BRICK = 0.225
_PLANK = 0.14
_SLAB = 0.5
_STEEPEST = 1.6


@inner
def _edge(x: float) -> float:
    """Distance to the nearest whole number."""
    return 0.5 - abs(x - math.floor(x) - 0.5)


@inner
def _brick_at(u: float, v: float) -> tuple[float, float, float, float]:
    """Course, place along it, and distances to the joints in metres."""
    course = math.floor(v / _COURSE)
    along = u / _BRICK + 0.5 * (course - 2.0 * math.floor(course / 2.0))
    return course, along, _edge(along) * _BRICK, _edge(v / _COURSE) * _COURSE


@inner
def _tile_height(u: float, v: float, s: float) -> float:
    i = math.floor(u / _TILE)
    j = math.floor(v / _TILE)
    x = u / _TILE - i - 0.5
    y = v / _TILE - j - 0.5
    tilt = (cell(int(i), int(j), 3) - 0.5) * x + (cell(int(i), int(j), 8) - 0.5) * y
    rounded = smooth(0.0, 0.07, 0.5 - max(abs(x), abs(y)))
    return 0.0025 * rounded + 0.003 * tilt + 0.0006 * value_noise(u * 25, v * 25, s)


@inner
def _brick_height(u: float, v: float, s: float) -> float:
    _course, _along, a, b = _brick_at(u, v)
    joint = smooth(0.002, 0.012, min(a, b) + 0.004 * value_noise(u * 40, v * 40, s))
    return 0.010 * joint + 0.005 * fractal(u * 45, v * 45, s, 3)


@inner
def _height(kind: int, u: float, v: float, s: float) -> float:
    """Relief in metres."""
    if kind == PLASTER:
        return 0.006 * fractal(u * 6, v * 6, s, 4) + 0.0012 * value_noise(u * 90, v * 90, s)
    if kind == TILE:
        return _tile_height(u, v, s)
    if kind == BRICK:
        return _brick_height(u, v, s)
    if kind == WOOD:
        return 0.0012 * fractal(u * 3, v * 120, s, 3) + 0.0007 * value_noise(u * 30, v * 300, s)
    if kind == COBBLE:
        edge, who = voronoi(u * 8, v * 8)
        return (
            0.022 * smooth(0.02, 0.35, edge) + 0.006 * who + 0.003 * value_noise(u * 60, v * 60, s)
        )
    joint = min(_edge(u / _SLAB), _edge(v / _SLAB)) * _SLAB
    return 0.004 * smooth(0.002, 0.010, joint) + 0.004 * fractal(u * 12, v * 12, s, 4)


@inner
def axes_of(shape: Any, kind: int, n: Triple) -> tuple[int, int]:
    """Which axes of the shape are u and v on the face with normal n (u along a plank)."""
    ax = abs(n[0])
    ay = abs(n[1])
    az = abs(n[2])
    if ax > ay and ax > az:
        u, v = 2, 1
    elif ay > az:
        u, v = 0, 2
    else:
        u, v = 0, 1
    if kind == WOOD:
        top = v == 2
        long_z = top and shape.hz > shape.hx * 1.5
        upright = not top and shape.hy > max(shape.hx, shape.hz) * 1.5
        if long_z or upright:
            u, v = v, u
    return u, v


@inner
def _pick(p: Triple, axis: int) -> float:
    if axis == 0:
        return p[0]
    return p[1] if axis == 1 else p[2]


@inner
def _slope(axis: int, wanted: int, slope: float) -> float:
    return -slope if axis == wanted else 0.0


@inner
def relief(shape: Any, kind: int, p: Triple, n: Triple, footprint: float) -> Triple:
    """What the relief adds to the normal; finer than the pixel's footprint it fades."""
    a, b = axes_of(shape, kind, n)
    u = _pick(p, a)
    v = _pick(p, b)
    s = shape.seed
    e = max(0.002 if kind == PLASTER else 0.0008, footprint * 1.3)
    h = _height(kind, u, v, s)
    along = min(max((_height(kind, u + e, v, s) - h) / e, -_STEEPEST), _STEEPEST)
    across = min(max((_height(kind, u, v + e, s) - h) / e, -_STEEPEST), _STEEPEST)
    return (
        _slope(a, 0, along) + _slope(b, 0, across),
        _slope(a, 1, along) + _slope(b, 1, across),
        _slope(a, 2, along) + _slope(b, 2, across),
    )


@inner
def _plaster(c: Triple, d: Triple, u: float, v: float, s: float) -> Surface:
    stain = 0.55 * smooth(0.52, 0.75, fractal(u * 1.1 + 9, v * 0.7, s, 5))
    streak = 0.25 * smooth(0.5, 0.8, value_noise(u * 30, v * 6, s))
    colour = scale(mix(c, d, stain + streak), 0.80 + 0.4 * fractal(u * 2.2, v * 2.2, s, 5))
    return colour, (0.1, 12.0, 0.0), 0.0


@inner
def _tile(albedo: Table, c: Triple, u: float, v: float, s: float) -> Surface:
    i = math.floor(u / _TILE)
    j = math.floor(v / _TILE)
    border = 0.5 - max(abs(u / _TILE - i - 0.5), abs(v / _TILE - j - 0.5))
    gain = 0.82 + 0.28 * cell(int(i), int(j), 4) + 0.12 * (fractal(u * 18, v * 18, s, 3) - 0.5)
    gain *= 1.0 - 0.25 * smooth(0.45, 0.7, fractal(u * 3, v * 1.4, s + 4, 4))
    if border < 0.020:
        joint = (albedo[_MORTAR, 0], albedo[_MORTAR, 1], albedo[_MORTAR, 2])
        return scale(joint, gain), (0.1, 140.0, 0.0), 0.0
    return scale(c, gain), (1.2, 140.0, 0.045), 0.0


@inner
def _brick(albedo: Table, c: Triple, d: Triple, u: float, v: float, s: float) -> Surface:
    course, along, a, b = _brick_at(u, v)
    i = math.floor(along)
    j = int(course)
    weather = 0.72 + 0.56 * fractal(u * 1.3, v * 1.3, s + 3, 4)
    if min(a, b) + 0.004 * (value_noise(u * 40, v * 40, s) - 0.5) < 0.006:
        joint = (albedo[_MORTAR, 0], albedo[_MORTAR, 1], albedo[_MORTAR, 2])
        gain = 0.6 + 0.5 * fractal(u * 50, v * 50, s, 3)
        return scale(joint, gain * weather), (0.08, 12.0, 0.0), 0.0
    burnt = smooth(0.35, 0.95, cell(i, j, 6) * 0.8 + 0.35 * (fractal(u * 20, v * 20, s, 3) - 0.3))
    gain = 0.65 + 0.7 * cell(i, j, 16) + 0.5 * (fractal(u * 60, v * 60, s, 3) - 0.5)
    return scale(mix(c, d, burnt), gain * weather), (0.08, 12.0, 0.0), 0.0


@inner
def _wood(c: Triple, d: Triple, u: float, v: float, s: float, footprint: float) -> Surface:
    plank = cell(math.floor(v / _PLANK), int(s * 7), 2)
    sway = 2.5 * value_noise(u * 1.4 + plank * 9, v * 9, s)
    grain = fractal(u * 1.6 + plank * 40, v * 22 + sway, s + plank * 5, 4)
    ring = 0.5 + 0.5 * math.sin(60 * grain + 8 * fractal(u * 0.8 + plank * 17, v * 8, s, 3))
    pores = value_noise(u * 14, v * 700, s + plank) - 0.5
    fine = 0.5 + pores / (1.0 + (footprint * 500) ** 2)
    dark = 0.25 * ring + 0.4 * smooth(0.35, 0.7, grain) + 0.25 * smooth(0.62, 0.9, fine)
    gain = 0.75 + 0.45 * plank + 0.15 * (fine - 0.5)
    if _edge(v / _PLANK) < 0.018:
        gain *= 0.35
    gain *= 0.8 + 0.4 * fractal(u * 3.1, v * 3.1, s, 4)
    return scale(mix(c, d, dark), gain), (0.5, 28.0, 0.012), 0.0


@inner
def _bench_flour(shape: Any, p: Triple) -> float:
    """Flour thrown over a bench, thickest about one place."""
    s = shape.seed
    grains = 0.25 * (value_noise(p[0] * 60, p[2] * 60, s) - 0.5)
    grains += 0.35 * (value_noise(p[0] * 260, p[2] * 260, s) - 0.5)
    cloud = fractal(p[0] * 5 + s, p[2] * 5, 3.3, 5) + grains
    away = math.hypot(p[0] - shape.flour_x, p[2] - shape.flour_z) / shape.flour_radius
    return 0.92 * smooth(0.50, 0.72, cloud + 0.42 * (1.0 - min(away, 1.6)))


@inner
def _cobble(shape: Any, c: Triple, d: Triple, u: float, v: float) -> Surface:
    s = shape.seed
    edge, who = voronoi(u * 8, v * 8)
    body = smooth(0.03, 0.16, edge)
    gain = (0.35 + 0.65 * body) * (0.7 + 0.6 * who) * (0.8 + 0.4 * fractal(u * 40, v * 40, s, 3))
    damp = fractal(u * 0.75, v * 0.75, s, 4)
    wet = smooth(0.46, 0.60, damp + 0.08 * (1.0 - body))
    pool = smooth(0.53, 0.57, damp + 0.06 * (1.0 - body))
    colour = scale(
        mix(c, d, 0.5 * cell(int(who * 1000), 1, 1)), gain * (1.0 - 0.4 * wet - 0.35 * pool)
    )
    finish = (0.2 + 0.25 * wet, 14 + 60 * wet + 3000 * pool, 0.02 + 0.05 * wet + 0.16 * pool)
    return colour, finish, pool


@inner
def _slab(shape: Any, c: Triple, d: Triple, u: float, v: float) -> Surface:
    s = shape.seed
    shade = cell(math.floor(u / _SLAB), math.floor(v / _SLAB), 12)
    gain = (0.7 + 0.4 * shade) * (0.7 + 0.6 * fractal(u * 7, v * 7, s, 5))
    if min(_edge(u / _SLAB), _edge(v / _SLAB)) * _SLAB < 0.004:
        gain *= 0.4
    flour = 0.3 * smooth(0.52, 0.72, fractal(u * 3 + 7, v * 3, s, 5)) * shape.flour
    return scale(c, gain), (0.35, 40.0, 0.02), flour


@inner
def flat_surface(
    shape: Any,
    kind: int,
    albedo: Table,
    c: Triple,
    d: Triple,
    p: Triple,
    n: Triple,
    up: float,
    footprint: float,
) -> tuple[Triple, Triple, Triple, float]:
    """Colour, addition to the normal, (sheen, gloss, mirror share) and share of flour."""
    a, b = axes_of(shape, kind, n)
    u = _pick(p, a)
    v = _pick(p, b)
    s = shape.seed
    bump = relief(shape, kind, p, n, footprint)
    if kind == PLASTER:
        colour, finish, flour = _plaster(c, d, u, v, s)
    elif kind == TILE:
        colour, finish, flour = _tile(albedo, c, u, v, s)
    elif kind == BRICK:
        colour, finish, flour = _brick(albedo, c, d, u, v, s)
    elif kind == WOOD:
        colour, finish, flour = _wood(c, d, u, v, s, footprint)
        if shape.flour_radius > 0.0 and up > 0.8:
            flour = _bench_flour(shape, p)
            finish = scale(finish, 1.0 - flour)
            finish = (finish[0], 28.0, finish[2])
    elif kind == COBBLE:
        colour, finish, pool = _cobble(shape, c, d, u, v)
        bump = scale(bump, (1.0 - 0.96 * pool) / (1.0 + footprint * 250))
        flour = 0.0
    else:
        colour, finish, flour = _slab(shape, c, d, u, v)
    return colour, bump, finish, flour


FLAT_LAST = SLAB
