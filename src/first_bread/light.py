"""How much light falls on the surfaces that a camera sees: area lights, one bounce, the sky.

Irradiance is given as radiance of a white diffuse surface (that is, divided by pi), in two groups:
steady light, and a fire's, which flickers. The main direction of the light goes with it, so that
relief can be shaded afterwards at a higher resolution.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from first_bread.compiling import inner, loop
from first_bread.geometry import normal_at, shadowed, to_world, trace
from first_bread.noise import hash_unit, value_noise
from first_bread.records import (
    AMBIENT,
    CLOUD,
    FLICKERING,
    GLOW,
    GLOW_AT,
    HORIZON,
    ZENITH,
    Table,
    World,
)
from first_bread.vectors import (
    Triple,
    add,
    along,
    cross,
    dot,
    facing,
    luminance,
    mix,
    mul,
    scale,
    unit,
)

_BLACK = (0.0, 0.0, 0.0)
_OFF = 2e-3  # rays start this far off a surface
_FAR = 1e4
# Steps of the plastic-number sequence (Roberts 2018), which fills a square evenly.
_STEP_U = 0.7548776662
_STEP_V = 0.5698402910


@inner
def camera_ray(camera: Table, x: float, y: float, width: int, height: int) -> tuple[Triple, Triple]:
    """Eye and direction through the point (x, y) of a picture, in pixels."""
    sx = (2.0 * x / width - 1.0) * camera[12]
    sy = (1.0 - 2.0 * y / height) * camera[13]
    ray = (
        camera[9] + sx * camera[3] + sy * camera[6],
        camera[10] + sx * camera[4] + sy * camera[7],
        camera[11] + sx * camera[5] + sy * camera[8],
    )
    return (camera[0], camera[1], camera[2]), unit(ray)


@inner
def _row(table: Table, k: int) -> Triple:
    return table[k, 0], table[k, 1], table[k, 2]


@inner
def _cloud(sky: Table, ray: Triple) -> float:
    """Thin cloud: how much of the sky it covers in one direction."""
    if sky[CLOUD, 0] <= 0.0 or ray[1] < 0.02:
        return 0.0
    u = ray[0] / (ray[1] + 0.12) * 1.2
    v = ray[2] / (ray[1] + 0.12) * 0.7
    c = 0.50 * value_noise(u, v, 1.5) + 0.28 * value_noise(2.1 * u, 2.3 * v, 5.1)
    c += 0.15 * value_noise(4.7 * u, 5.1 * v, 9.1) + 0.07 * value_noise(9.7 * u, 10.1 * v, 19.1)
    return min(max((c - 0.46) * 4.2, 0.0), 1.0) * float(sky[CLOUD, 0]) * min(1.0, ray[1] * 6.0)


@inner
def sky_light(sky: Table, ray: Triple) -> Triple:
    """Radiance of the sky in one direction; below the horizon a dim ground."""
    high = max(ray[1], 0.0)
    level = 1.0 / (math.sqrt(ray[0] * ray[0] + ray[2] * ray[2]) + 1e-9)
    towards = max(0.0, (ray[0] * sky[GLOW_AT, 0] + ray[2] * sky[GLOW_AT, 1]) * level)
    glow = towards**4 * (1.0 - high) ** 9 * sky[GLOW_AT, 2]
    clear = mix(_row(sky, ZENITH), _row(sky, HORIZON), (1.0 - high) ** 5)
    clear = along(clear, _row(sky, GLOW), glow)
    cover = _cloud(sky, ray)
    if cover > 0.0:
        grey = (clear[0] + clear[1] + clear[2]) / 3.0
        lit = add(scale((0.85, 0.80, 0.76), grey), scale(_row(sky, GLOW), 0.30 * grey))
        clear = mix(clear, lit, 0.75 * cover)
    return scale(clear, 0.3) if ray[1] < 0.0 else clear


@inner
def from_light(
    world: World, stack: Table, light: Any, u: float, v: float, p: Triple, n: Triple
) -> tuple[float, Triple]:
    """Irradiance over radiance at p from the sample (u, v) of an area light, and its direction."""
    a = 2.0 * u - 1.0
    b = 2.0 * v - 1.0
    to = (
        light.at_x + a * light.ux + b * light.vx - p[0],
        light.at_y + a * light.uy + b * light.vy - p[1],
        light.at_z + a * light.uz + b * light.vz - p[2],
    )
    d2 = dot(to, to)
    d = math.sqrt(d2)
    ray = scale(to, 1.0 / d)
    falling = dot(ray, n)
    if falling <= 0.0:
        return 0.0, ray
    leaving = 1.0 if light.all_round else -dot(ray, (light.nx, light.ny, light.nz))
    if leaving <= 0.0:
        return 0.0, ray
    if shadowed(stack, world.shapes, world.parts, world.nodes, p, ray, d - 0.01):
        return 0.0, ray
    return falling * leaving * light.area / max(d2, 0.01) / math.pi, ray


@inner
def _direct(
    world: World, stack: Table, p: Triple, n: Triple, s: int, u: float, v: float
) -> tuple[Triple, Triple, Triple]:
    """One sample of every light: steady light, flickering light, direction weighed by luminance."""
    steady = _BLACK
    fire = _BLACK
    direction = _BLACK
    for j in range(world.lights.shape[0]):
        light = world.lights[j]
        if light.important == 0 and (s + j) % 2:
            continue
        factor, ray = from_light(world, stack, light, u, v, p, n)
        if light.important == 0:
            factor *= 2.0
        got = scale((light.red, light.green, light.blue), factor)
        if light.group == FLICKERING:
            fire = add(fire, got)
        else:
            steady = add(steady, got)
        direction = along(direction, ray, luminance(got))
    return steady, fire, direction


@inner
def _tangents(n: Triple) -> tuple[Triple, Triple]:
    """Two directions square to n."""
    t = unit((-n[1], n[0], 0.0)) if abs(n[0]) > 0.7 else unit((0.0, -n[2], n[1]))
    return t, cross(n, t)


@inner
def _bounce_ray(n: Triple, u: float, v: float) -> Triple:
    """A direction about n, weighed by the cosine."""
    t, b = _tangents(n)
    turn = 6.2831853 * ((u + 0.37 * v + 0.11) % 1.0)
    q = math.sqrt(v)
    ray = scale(n, math.sqrt(max(0.0, 1.0 - v)))
    return along(along(ray, t, math.cos(turn) * q), b, math.sin(turn) * q)


@inner
def _base(world: World, i: int, part: int) -> Triple:
    """A shape's plain colour, without texture."""
    return _row(world.albedo, world.shapes[i].colour if part < 0 else world.parts[part].colour)


@inner
def _bounced(
    world: World, stack: Table, p: Triple, n: Triple, pick: float, u: float, v: float
) -> tuple[Triple, Triple, Triple]:
    """One diffuse bounce: steady light, flickering light, the direction it came from."""
    ray = _bounce_ray(n, u, v)
    t, j = trace(stack, world.shapes, world.parts, world.nodes, p, ray, _FAR)
    if j < 0:
        return sky_light(world.sky, ray), _BLACK, ray
    shape = world.shapes[j]
    if shape.lamp > 0:
        return _BLACK, _BLACK, ray
    at = along(p, ray, t)
    _q, m, part = normal_at(shape, world.parts, at)
    m = facing(to_world(shape, m), ray)
    colour = _base(world, j, part)
    steady = mul(_row(world.sky, AMBIENT), colour)
    lights = world.lights.shape[0]
    if lights == 0:
        return steady, _BLACK, ray
    light = world.lights[int(pick * lights) % lights]
    factor, _ray = from_light(world, stack, light, v, u, along(at, m, _OFF), m)
    got = mul(scale((light.red, light.green, light.blue), min(factor * lights, 4.0)), colour)
    if light.group == FLICKERING:
        return steady, got, ray
    return add(steady, got), _BLACK, ray


@inner
def irradiance(
    world: World, stack: Table, p: Triple, n: Triple, x: int, y: int, samples: int
) -> tuple[Triple, Triple, Triple]:
    """Steady light, flickering light and direction at p; x and y seed the samples."""
    first_u = hash_unit(x * 7919 + y * 104729)
    first_v = hash_unit(x * 331 + y * 7477 + 13)
    steady = _BLACK
    fire = _BLACK
    direction = _BLACK
    for s in range(samples):
        u = (first_u + s * _STEP_U) % 1.0
        v = (first_v + s * _STEP_V) % 1.0
        a, b, g = _direct(world, stack, p, n, s, u, v)
        pick = hash_unit(x * 31 + y * 57 + s * 1013)
        c, d, ray = _bounced(world, stack, p, n, pick, u, v)
        steady = add(steady, add(a, c))
        fire = add(fire, add(b, d))
        direction = add(direction, along(g, ray, luminance(c)))
    k = 1.0 / samples
    return scale(steady, k), scale(fire, k), scale(direction, k)


@inner
def _put(target: Table, y: int, x: int, at: int, value: Triple) -> None:
    target[y, x, at] = value[0]
    target[y, x, at + 1] = value[1]
    target[y, x, at + 2] = value[2]


@loop
def gather_light(
    world: World,
    camera: Table,
    window: tuple[int, int, int, int],
    samples: int,
    first_own: int,
    points: Table,
    light: Table,
) -> None:
    """Fill `points` (position 3, normal 3, shape or -1) and `light` (steady, fire, direction).

    Shapes numbered below `first_own` are left out.

    `window` is (left, top, width, height): the part of a picture of that width and height that the
    two tables hold.
    """
    left, top, width, height = window
    stack = np.empty(64, np.int32)
    for y in range(points.shape[0]):
        for x in range(points.shape[1]):
            eye, ray = camera_ray(camera, left + x + 0.5, top + y + 0.5, width, height)
            t, i = trace(stack, world.shapes, world.parts, world.nodes, eye, ray, 1e5)
            points[y, x, 6] = i if i >= first_own else -1
            if i < max(first_own, 0):
                continue
            p = along(eye, ray, t)
            _q, n, _part = normal_at(world.shapes[i], world.parts, p)
            n = facing(to_world(world.shapes[i], n), ray)
            _put(points, y, x, 0, p)
            _put(points, y, x, 3, n)
            a, b, g = irradiance(world, stack, along(p, n, _OFF), n, left + x, top + y, samples)
            _put(light, y, x, 0, a)
            _put(light, y, x, 3, b)
            _put(light, y, x, 6, g)


@loop
def light_at(world: World, at: Table, normal: Table, samples: int) -> tuple[Triple, Triple]:
    """Steady and flickering light that falls on a card at a place."""
    stack = np.empty(64, np.int32)
    n = (normal[0], normal[1], normal[2])
    p = along((at[0], at[1], at[2]), n, _OFF)
    steady, fire, _direction = irradiance(world, stack, p, n, 1, 1, samples)
    return steady, fire


@inner
def _likeness(points: Table, y: int, x: int, j: int, i: int) -> float:
    """Weight of a neighbour that lies on the same surface; 0 for another one."""
    c = points[y, x, 3] * points[j, i, 3] + points[y, x, 4] * points[j, i, 4]
    c += points[y, x, 5] * points[j, i, 5]
    if c < 0.6 or points[j, i, 6] < 0:
        return 0.0
    off = (points[j, i, 0] - points[y, x, 0]) * points[y, x, 3]
    off += (points[j, i, 1] - points[y, x, 1]) * points[y, x, 4]
    off += (points[j, i, 2] - points[y, x, 2]) * points[y, x, 5]
    off *= 25.0
    c4 = c * c * c * c
    return float(c4 * c4 * c4 / (1.0 + off * off))


@loop
def smooth_light(points: Table, light: Table, out: Table, step: int) -> None:
    """One pass of a wavelet filter with holes that keeps edges of position and normal."""
    h, w = points.shape[:2]
    total = np.empty(9, np.float32)
    for y in range(h):
        for x in range(w):
            if points[y, x, 6] < 0:
                continue
            total[:] = 0.0
            weights = 0.0
            for dj in range(-2, 3):
                j = y + dj * step
                if j < 0 or j >= h:
                    continue
                for di in range(-2, 3):
                    i = x + di * step
                    if i < 0 or i >= w:
                        continue
                    k = _likeness(points, y, x, j, i) * (3 - abs(di)) * (3 - abs(dj))
                    weights += k
                    for c in range(9):
                        total[c] += k * light[j, i, c]
            for c in range(9):
                out[y, x, c] = total[c] / weights
