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
_RAYS = 3  # for a pixel at an edge
_CONTRAST = 0.10
_FAINT = 0.004
_UNSEEN = 0.025  # the least share of a mirror image that is worth a ray
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
    if share < _UNSEEN:
        return _BLACK, _BLACK
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
    first_own: int,
) -> tuple[Triple, Triple, float, int]:
    """Light along one ray: steady, a fire's, inverse distance, and the shape that was met."""
    eye, ray = camera_ray(camera, at[0], at[1], frame[0], frame[1])
    t, i = trace(stack, world.shapes, world.parts, world.nodes, eye, ray, 1e5)
    if i < first_own:
        return _BLACK, _BLACK, 0.0, i
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


@inner
def _rough(steady: Table, fire: Table, y: int, x: int, j: int, i: int) -> bool:
    """Whether two neighbours differ so much that one ray each does not do."""
    a = steady[y, x, 1] + fire[y, x, 1]
    b = steady[j, i, 1] + fire[j, i, 1]
    return bool(abs(a - b) > _CONTRAST * (a + b) + _FAINT)


@inner
def _edge(shapes: Table, steady: Table, fire: Table, y: int, x: int) -> bool:
    """Whether a pixel lies at an edge of a shape or in fine texture."""
    h, w = shapes.shape
    for dj, di in ((0, -1), (0, 1), (-1, 0), (1, 0)):
        j = min(max(y + dj, 0), h - 1)
        i = min(max(x + di, 0), w - 1)
        if shapes[j, i] != shapes[y, x] or _rough(steady, fire, y, x, j, i):
            return True
    return False


@inner
def _pixel(
    world: World,
    stack: Table,
    camera: Table,
    window: tuple[int, int, int, int],
    first_pass: tuple[Table, Table],
    size: tuple[int, int],
    place: tuple[int, int, int],
    first_own: int,
) -> tuple[Triple, Triple, float, int]:
    """One ray through pixel (x, y); ray number 0 goes through its middle."""
    left, top, width, height = window
    points, light = first_pass
    x, y, s = place
    jx = x + (0.5 + s * 0.7548776662) % 1.0
    jy = y + (0.5 + s * 0.5698402910) % 1.0
    fx = jx * points.shape[1] / size[0] - 0.5
    fy = jy * points.shape[0] / size[1] - 0.5
    at = (left + jx, top + jy)
    seed = (left + x, top + y, s)
    known = (points, light, fx, fy)
    return _sample(world, stack, camera, at, (width, height), known, seed, first_own)


@inner
def _refine(sums: Table, y: int, x: int, value: Triple, share: float) -> None:
    for k in range(3):
        sums[y, x, k] += (value[k] - sums[y, x, k]) * share


@loop
def shade(
    world: World,
    camera: Table,
    window: tuple[int, int, int, int],
    first_own: int,
    points: Table,
    light: Table,
    planes: tuple[Table, Table, Table, Table],
) -> int:
    """Fill the planes of a picture and return how many pixels needed more than one ray.

    `window` is (left, top, width, height): the planes and the first pass's `points` and `light`
    hold the part from (left, top) on of a picture of that width and height. The planes are: steady
    light and cover (rows, columns, 4), a fire's light (rows, columns, 3), inverse distance, and the
    number of the shape seen (-1: the sky). Only shapes numbered `first_own` or above are painted;
    cover is the share of rays that met one.
    """
    steady, fire, depth, shapes = planes
    h, w = depth.shape
    stack = np.empty(64, np.int32)
    size = (w, h)
    first_pass = (points, light)
    for y in range(h):
        for x in range(w):
            place = (x, y, 0)
            a, b, near, i = _pixel(world, stack, camera, window, first_pass, size, place, first_own)
            for k in range(3):
                steady[y, x, k] = a[k]
                fire[y, x, k] = b[k]
            steady[y, x, 3] = 1.0 if i >= first_own else 0.0
            depth[y, x] = near
            shapes[y, x] = i
    refined = 0
    edges = np.zeros((h, w), np.bool_)
    for y in range(h):
        for x in range(w):
            edges[y, x] = _edge(shapes, steady, fire, y, x)
    for y in range(h):
        for x in range(w):
            if not edges[y, x]:
                continue
            refined += 1
            for s in range(1, _RAYS):
                share = 1.0 / (s + 1)
                place = (x, y, s)
                a, b, near, i = _pixel(
                    world, stack, camera, window, first_pass, size, place, first_own
                )
                _refine(steady, y, x, a, share)
                _refine(fire, y, x, b, share)
                own = 1.0 if i >= first_own else 0.0
                steady[y, x, 3] += (own - steady[y, x, 3]) * share
                depth[y, x] += (near - depth[y, x]) * share
    return refined
