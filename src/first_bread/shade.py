"""The second pass: texture, relief, sheen and mirror images at full resolution."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from first_bread.compiling import inner, loop
from first_bread.geometry import normal_at, to_world, trace
from first_bread.light import camera_ray, from_light, sky_light
from first_bread.noise import hash_unit
from first_bread.records import AMBIENT, CYLINDER, FLICKERING, Table, World
from first_bread.surfaces import emission, surface
from first_bread.vectors import (
    Triple,
    add,
    along,
    dot,
    facing,
    luminance,
    mul,
    scale,
    sub,
    unit,
)

_BLACK = (0.0, 0.0, 0.0)
_SKY_DISTANCE = 60.0
Pair = tuple[Triple, Triple]  # steady light and a fire's


@inner
def _three(table: Table, y: int, x: int, at: int) -> Triple:
    return table[y, x, at], table[y, x, at + 1], table[y, x, at + 2]


@inner
def _neighbour_weight(points: Table, y: int, x: int, p: Triple, n: Triple, far: float) -> float:
    """How much a point of the first pass lies on the surface that is shaded now."""
    if points[y, x, 6] < 0:
        return 0.0
    c = max(0.0, dot(n, _three(points, y, x, 3)))
    off = dot(sub(_three(points, y, x, 0), p), n) * 40.0 / (0.3 + far * 0.3)
    off = 1.0 + off * off
    c4 = c * c * c * c
    return (c4 * c4 + 1e-5) / (off * off)


@inner
def _look_up(
    points: Table, light: Table, fx: float, fy: float, p: Triple, n: Triple, far: float
) -> tuple[Triple, Triple, Triple]:
    """Light of the first pass at (fx, fy), from neighbours on the same surface only."""
    h, w = points.shape[:2]
    ix = math.floor(fx)
    iy = math.floor(fy)
    steady = _BLACK
    fire = _BLACK
    direction = _BLACK
    weights = 1e-12
    for ring in range(2):
        for j in range(-ring, 2 + ring):
            y = min(max(iy + j, 0), h - 1)
            by = abs(fy - iy - j)
            for i in range(-ring, 2 + ring):
                x = min(max(ix + i, 0), w - 1)
                bx = abs(fx - ix - i)
                k = _neighbour_weight(points, y, x, p, n, far)
                k *= max(0.02, 1.0 - bx * 0.6) * max(0.02, 1.0 - by * 0.6)
                if ring == 0:
                    k *= max(0.001, 1.0 - bx) * max(0.001, 1.0 - by)
                weights += k
                steady = along(steady, _three(light, y, x, 0), k)
                fire = along(fire, _three(light, y, x, 3), k)
                direction = along(direction, _three(light, y, x, 6), k)
        if weights > 0.02:
            break
    k = 1.0 / weights
    return scale(steady, k), scale(fire, k), scale(direction, k)


@inner
def _lit(
    colour: Triple,
    finish: Triple,
    n: Triple,
    bent: Triple,
    ray: Triple,
    light: tuple[Triple, Triple, Triple],
) -> Pair:
    """Diffuse light and sheen of a surface with normal n, bent by its relief."""
    steady, fire, direction = light
    strength = math.sqrt(dot(direction, direction)) + 1e-9
    towards = scale(direction, 1.0 / strength)
    directed = min(1.0, strength / (luminance(steady) + luminance(fire) + 1e-9))
    share = directed * directed
    before = max(0.12, 1.0 - share + share * max(dot(n, towards), 0.0) * 1.5)
    after = max(0.12, 1.0 - share + share * max(dot(bent, towards), 0.0) * 1.5)
    relative = min(after / before, 2.2)
    gloss = finish[1]
    half = unit(sub(towards, ray))
    shine = max(0.0, dot(half, bent)) ** gloss * (gloss + 8.0) * 0.04 * finish[0] * directed
    seen = add(scale(colour, relative), (shine, shine, shine))
    return mul(steady, seen), mul(fire, seen)


@inner
def _lamp_face(shape: Any, q: Triple, n: Triple, ray: Triple) -> Pair:
    strength = emission(shape, q)
    if shape.kind == CYLINDER:
        strength *= 0.55 + 0.45 * abs(dot(n, ray))
    sent = scale((shape.red, shape.green, shape.blue), strength)
    if shape.group == FLICKERING:
        return _BLACK, sent
    return sent, _BLACK


@inner
def _reflected(world: World, stack: Table, p: Triple, ray: Triple, pick: float) -> Pair:
    """What a mirror ray sees, with one light and the ambient light alone."""
    t, i = trace(stack, world.shapes, world.parts, world.nodes, p, ray, 1e4)
    if i < 0:
        return sky_light(world.sky, ray), _BLACK
    shape = world.shapes[i]
    if shape.lamp > 0:
        sent = (shape.red, shape.green, shape.blue)
        return (_BLACK, sent) if shape.group == FLICKERING else (sent, _BLACK)
    at = along(p, ray, t)
    q, m, part = normal_at(shape, world.parts, at)
    n = to_world(shape, m)
    colour, _bump, _finish, _flour = surface(world, i, part, q, m, n[1], 0.004)
    ambient = (world.sky[AMBIENT, 0], world.sky[AMBIENT, 1], world.sky[AMBIENT, 2])
    steady = mul(scale(ambient, 1.6), colour)
    lights = world.lights.shape[0]
    if lights == 0:
        return steady, _BLACK
    light = world.lights[int(pick * lights) % lights]
    factor, _ray = from_light(world, stack, light, 0.5, 0.5, along(at, n, 3e-3), n)
    got = mul(scale((light.red, light.green, light.blue), factor * lights), colour)
    if light.group == FLICKERING:
        return steady, got
    return add(steady, got), _BLACK


@inner
def _mirror(
    world: World,
    stack: Table,
    p: Triple,
    n: Triple,
    bent: Triple,
    ray: Triple,
    finish: Triple,
    seed: tuple[int, int, int],
) -> Pair:
    """A mirror image, blurred by gloss and stronger at a grazing angle (Schlick 1994)."""
    x, y, s = seed
    facing_share = max(-dot(bent, ray), 0.0)
    share = finish[2] + (1.0 - finish[2]) * (1.0 - facing_share) ** 5 * 0.8
    spread = 1.2 / math.sqrt(finish[1])
    jitter = (
        (hash_unit(x * 13 + y * 71 + s * 17) - 0.5) * spread,
        (hash_unit(x * 29 + y * 37 + s * 91) - 0.5) * spread,
        (hash_unit(x * 61 + y * 11 + s * 7) - 0.5) * spread,
    )
    out = unit(add(along(ray, bent, -2.0 * dot(bent, ray)), jitter))
    pick = hash_unit(x * 5 + y * 3 + s)
    steady, fire = _reflected(world, stack, along(p, n, 3e-3), out, pick)
    return scale(steady, share), scale(fire, share)


@inner
def _sample(
    world: World,
    stack: Table,
    camera: Table,
    at: tuple[float, float],
    frame: tuple[int, int],
    first_pass: tuple[Table, Table, float, float],
    seed: tuple[int, int, int],
) -> tuple[Triple, Triple, float, int]:
    """Light along one ray: steady, a fire's, inverse distance, and the shape that was met."""
    eye, ray = camera_ray(camera, at[0], at[1], frame[0], frame[1])
    t, i = trace(stack, world.shapes, world.parts, world.nodes, eye, ray, 1e5)
    if i < 0:
        return sky_light(world.sky, ray), _BLACK, 1.0 / _SKY_DISTANCE, i
    shape = world.shapes[i]
    p = along(eye, ray, t)
    q, m, part = normal_at(shape, world.parts, p)
    n = to_world(shape, m)
    if shape.lamp > 0:
        steady, fire = _lamp_face(shape, q, n, ray)
        return steady, fire, 1.0 / t, i
    footprint = t * 2.0 * camera[12] / frame[0]
    colour, bump, finish, _flour = surface(world, i, part, q, m, n[1], footprint)
    n = facing(n, ray)
    bent = unit(add(n, to_world(shape, bump)))
    points, light, fx, fy = first_pass
    falling = _look_up(points, light, fx, fy, p, n, t)
    steady, fire = _lit(colour, finish, n, bent, ray, falling)
    if finish[2] > 0.0:
        a, b = _mirror(world, stack, p, n, bent, ray, finish, seed)
        steady = add(steady, a)
        fire = add(fire, b)
    return steady, fire, 1.0 / t, i


@loop
def shade(
    world: World,
    camera: Table,
    window: tuple[int, int, int, int],
    rays: int,
    first_own: int,
    points: Table,
    light: Table,
    steady: Table,
    fire: Table,
    depth: Table,
) -> None:
    """Fill `steady` and `fire` (rows, columns, 4) and the inverse distance `depth`.

    `window` is (left, top, width, height) of the part of the picture that is made; `points` and
    `light` hold the same part from the first pass. The fourth channel of `steady` is the share of
    rays that met a shape whose number is at least `first_own`.
    """
    left, top, width, height = window
    h, w = depth.shape
    stack = np.empty(64, np.int32)
    share = 1.0 / rays
    for y in range(h):
        for x in range(w):
            a = _BLACK
            b = _BLACK
            near = 0.0
            own = 0.0
            for s in range(rays):
                jx = x + (0.5 + s * 0.7548776662) % 1.0
                jy = y + (0.5 + s * 0.5698402910) % 1.0
                fx = jx * points.shape[1] / w - 0.5
                fy = jy * points.shape[0] / h - 0.5
                c, d, inverse, i = _sample(
                    world,
                    stack,
                    camera,
                    (left + jx, top + jy),
                    (width, height),
                    (points, light, fx, fy),
                    (left + x, top + y, s),
                )
                a = add(a, c)
                b = add(b, d)
                near += inverse
                own += 1.0 if i >= first_own else 0.0
            for k in range(3):
                steady[y, x, k] = a[k] * share
                fire[y, x, k] = b[k] * share
            steady[y, x, 3] = own * share
            depth[y, x] = near * share
