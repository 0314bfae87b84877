"""Where a ray meets the shapes of a scene, and which way the surface faces there."""

from __future__ import annotations

import math
from typing import Any

from first_bread.compiling import inner
from first_bread.noise import value_noise
from first_bread.records import BOX, CYLINDER, ELLIPSOID, SOFT, Table
from first_bread.vectors import Triple, along, unit

_NEAR = 1e-4
_STEPS = 40


@inner
def to_local(shape: Any, v: Triple) -> Triple:
    """A world direction in the shape's own axes."""
    return (
        shape.r00 * v[0] + shape.r01 * v[1] + shape.r02 * v[2],
        shape.r10 * v[0] + shape.r11 * v[1] + shape.r12 * v[2],
        shape.r20 * v[0] + shape.r21 * v[1] + shape.r22 * v[2],
    )


@inner
def to_world(shape: Any, v: Triple) -> Triple:
    """A direction in the shape's own axes, in the world."""
    return (
        shape.r00 * v[0] + shape.r10 * v[1] + shape.r20 * v[2],
        shape.r01 * v[0] + shape.r11 * v[1] + shape.r21 * v[2],
        shape.r02 * v[0] + shape.r12 * v[1] + shape.r22 * v[2],
    )


@inner
def _capsule(part: Any, x: float, y: float, z: float) -> float:
    """Distance to a capsule whose radius runs from one end to the other."""
    bx = part.bx - part.ax
    by = part.by - part.ay
    bz = part.bz - part.az
    x -= part.ax
    y -= part.ay
    z -= part.az
    t = (x * bx + y * by + z * bz) / (bx * bx + by * by + bz * bz + 1e-9)
    t = min(max(t, 0.0), 1.0)
    x -= t * bx
    y -= t * by
    z -= t * bz
    return math.sqrt(x * x + y * y + z * z) - float(part.ra + t * (part.rb - part.ra))


@inner
def soft_distance(shape: Any, parts: Table, p: Triple) -> tuple[float, int]:
    """Distance to a smooth union of capsules with relief, and the nearest part."""
    squash = shape.hy
    x = p[0]
    y = p[1] / squash
    z = p[2]
    union = 1e9
    nearest = 1e9
    who = 0
    for j in range(shape.first, shape.first + shape.count):
        d = _capsule(parts[j], x, y, z)
        if d < nearest:
            nearest = d
            who = j
        k = min(shape.blend, parts[j].blend)
        h = max(k - abs(d - union), 0.0) / k
        union = min(d, union) - h * h * k * 0.25
    height = shape.amplitude
    if height > 0.0 and union < 4.0 * height + 0.01:
        f = shape.frequency
        s = shape.seed
        union += height * (value_noise(x * f + s, y * f, z * f) - 0.5)
        f *= 2.7
        union += 0.4 * height * (value_noise(x * f, y * f + s, z * f) - 0.5)
    return union * min(squash, 1.0), who


@inner
def _hit_ellipsoid(shape: Any, p: Triple, d: Triple, limit: float) -> float:
    x = p[0] / shape.hx
    y = p[1] / shape.hy
    z = p[2] / shape.hz
    u = d[0] / shape.hx
    v = d[1] / shape.hy
    w = d[2] / shape.hz
    a = u * u + v * v + w * w
    b = x * u + y * v + z * w
    q = b * b - a * (x * x + y * y + z * z - 1.0)
    if q < 0.0:
        return -1.0
    q = math.sqrt(q)
    t = (-b - q) / a
    if t < _NEAR:
        t = (-b + q) / a
    return t if _NEAR < t < limit else -1.0


@inner
def _hit_cylinder(shape: Any, p: Triple, d: Triple, limit: float) -> float:
    """A cylinder about y with caps; without the upper one where `open_top`."""
    best = -1.0
    radius = shape.hx
    a = d[0] * d[0] + d[2] * d[2]
    b = p[0] * d[0] + p[2] * d[2]
    q = b * b - a * (p[0] * p[0] + p[2] * p[2] - radius * radius)
    if q > 0.0 and a > 1e-12:
        q = math.sqrt(q)
        for sign in (-1.0, 1.0):
            t = (-b + sign * q) / a
            if _NEAR < t < limit and abs(p[1] + t * d[1]) <= shape.hy:
                best = t
                limit = t
    if abs(d[1]) < 1e-9:
        return best
    for sign in (-1.0, 1.0):
        t = (sign * shape.hy - p[1]) / d[1]
        on_cap = (p[0] + t * d[0]) ** 2 + (p[2] + t * d[2]) ** 2 <= radius * radius
        if on_cap and _NEAR < t < limit and (sign < 0.0 or shape.open_top == 0):
            best = t
            limit = t
    return best


@inner
def inverse(x: float) -> float:
    """1 / x, large where x is about zero."""
    return 1.0 / (x if abs(x) > 1e-9 else 1e-9)


@inner
def _slabs(p: Triple, d: Triple, hx: float, hy: float, hz: float) -> tuple[float, float]:
    """Where the ray enters and leaves a box about the origin."""
    iu = inverse(d[0])
    iv = inverse(d[1])
    iw = inverse(d[2])
    x0 = (-hx - p[0]) * iu
    x1 = (hx - p[0]) * iu
    y0 = (-hy - p[1]) * iv
    y1 = (hy - p[1]) * iv
    z0 = (-hz - p[2]) * iw
    z1 = (hz - p[2]) * iw
    enter = max(max(min(x0, x1), min(y0, y1)), min(z0, z1))
    leave = min(min(max(x0, x1), max(y0, y1)), max(z0, z1))
    return enter, leave


@inner
def _in_arch(shape: Any, p: Triple) -> bool:
    """Whether a local point lies in the arched hole that runs through the box along z."""
    y = p[1] - shape.arch_floor
    half = shape.arch_half
    rise = y - shape.arch_spring
    below = rise < 0.0 or p[0] * p[0] + rise * rise < half * half
    return bool(abs(p[0]) < half and y > 0.0 and below)


@inner
def _hit_box(shape: Any, p: Triple, d: Triple, limit: float) -> float:
    enter, leave = _slabs(p, d, shape.hx, shape.hy, shape.hz)
    if enter > leave or leave < _NEAR or enter > limit:
        return -1.0
    t = enter if enter > _NEAR else leave
    if shape.arch_half > 0.0 and _in_arch(shape, along(p, d, t)):
        t = leave
        if t < _NEAR or _in_arch(shape, along(p, d, t)):
            return -1.0
    return t if t < limit else -1.0


@inner
def _hit_soft(shape: Any, parts: Table, p: Triple, d: Triple, limit: float) -> float:
    """Sphere tracing inside the shape's box."""
    enter, leave = _slabs(p, d, shape.ex, shape.ey, shape.ez)
    if enter > leave or leave < _NEAR or enter > limit:
        return -1.0
    t = max(enter, 1e-3)
    end = min(leave, limit)
    for _ in range(_STEPS):
        distance, _part = soft_distance(shape, parts, along(p, d, t))
        if distance < 0.0006 + 0.0004 * t:
            return t
        t += max(distance * 0.85, 0.001)
        if t > end:
            return -1.0
    return -1.0


@inner
def _hit(shape: Any, parts: Table, origin: Triple, ray: Triple, limit: float) -> float:
    """Distance along the ray to a shape, or -1."""
    p = to_local(shape, (origin[0] - shape.x, origin[1] - shape.y, origin[2] - shape.z))
    d = to_local(shape, ray)
    if shape.kind == BOX:
        return _hit_box(shape, p, d, limit)
    if shape.kind == ELLIPSOID:
        return _hit_ellipsoid(shape, p, d, limit)
    if shape.kind == CYLINDER:
        return _hit_cylinder(shape, p, d, limit)
    return _hit_soft(shape, parts, p, d, limit)


@inner
def _enters(node: Any, o: Triple, i: Triple, best: float) -> bool:
    """Whether a ray (origin o, inverse direction i) meets a node's box before `best`."""
    x0 = (node.x0 - o[0]) * i[0]
    x1 = (node.x1 - o[0]) * i[0]
    y0 = (node.y0 - o[1]) * i[1]
    y1 = (node.y1 - o[1]) * i[1]
    z0 = (node.z0 - o[2]) * i[2]
    z1 = (node.z1 - o[2]) * i[2]
    enter = max(max(min(x0, x1), min(y0, y1)), min(z0, z1))
    leave = min(min(max(x0, x1), max(y0, y1)), max(z0, z1))
    return not (enter > leave or leave < 0.0 or enter > best)


@inner
def trace(
    stack: Table, shapes: Table, parts: Table, nodes: Table, o: Triple, ray: Triple, limit: float
) -> tuple[float, int]:
    """Distance to the nearest shape and its number; (limit, -1) where the ray meets none."""
    i = (inverse(ray[0]), inverse(ray[1]), inverse(ray[2]))
    depth = 1
    stack[0] = 0
    who = -1
    while depth > 0:
        depth -= 1
        node = nodes[stack[depth]]
        if not _enters(node, o, i, limit):
            continue
        if node.shape >= 0:
            t = _hit(shapes[node.shape], parts, o, ray, limit)
            if t > 0.0:
                limit = t
                who = node.shape
            continue
        forward = (ray[0] if node.axis == 0 else (ray[1] if node.axis == 1 else ray[2])) > 0.0
        stack[depth] = node.right if forward else node.left  # the near child goes on last
        stack[depth + 1] = node.left if forward else node.right
        depth += 2
    return limit, who


@inner
def shadowed(
    stack: Table, shapes: Table, parts: Table, nodes: Table, o: Triple, ray: Triple, limit: float
) -> bool:
    """Whether anything but a lamp stands within `limit` along the ray."""
    i = (inverse(ray[0]), inverse(ray[1]), inverse(ray[2]))
    depth = 1
    stack[0] = 0
    while depth > 0:
        depth -= 1
        node = nodes[stack[depth]]
        if not _enters(node, o, i, limit):
            continue
        if node.shape < 0:
            stack[depth] = node.left
            stack[depth + 1] = node.right
            depth += 2
            continue
        shape = shapes[node.shape]
        if shape.lamp == 0 and _hit(shape, parts, o, ray, limit) > 0.0:
            return True
    return False


@inner
def _box_normal(shape: Any, p: Triple) -> Triple:
    """The face's normal, bent at the edges as by a bevel."""
    ax = abs(p[0]) - shape.hx
    ay = abs(p[1]) - shape.hy
    az = abs(p[2]) - shape.hz
    nearest = max(ax, max(ay, az))
    ex = max(0.0, 1.0 + ax / shape.bevel)
    ey = max(0.0, 1.0 + ay / shape.bevel)
    ez = max(0.0, 1.0 + az / shape.bevel)
    ex = 1.0 if ax == nearest else ex * ex * 0.7
    ey = 1.0 if ay == nearest else ey * ey * 0.7
    ez = 1.0 if az == nearest else ez * ez * 0.7
    return math.copysign(ex, p[0]), math.copysign(ey, p[1]), math.copysign(ez, p[2])


@inner
def _cylinder_normal(shape: Any, p: Triple) -> Triple:
    if abs(p[1]) > shape.hy - 1e-4:
        return 0.0, math.copysign(1.0, p[1]), 0.0
    edge = max(0.0, 1.0 - (shape.hy - abs(p[1])) / 0.006)
    return p[0], math.copysign(edge * shape.hx, p[1]), p[2]


@inner
def normal_at(shape: Any, parts: Table, at: Triple) -> tuple[Triple, Triple, int]:
    """A world point in the shape's axes, the local normal there, and the soft part (or -1)."""
    p = to_local(shape, (at[0] - shape.x, at[1] - shape.y, at[2] - shape.z))
    part = -1
    if shape.kind == SOFT:
        e = 0.002
        d, part = soft_distance(shape, parts, p)
        n = (
            soft_distance(shape, parts, (p[0] + e, p[1], p[2]))[0] - d,
            soft_distance(shape, parts, (p[0], p[1] + e, p[2]))[0] - d,
            soft_distance(shape, parts, (p[0], p[1], p[2] + e))[0] - d,
        )
    elif shape.kind == BOX:
        n = _box_normal(shape, p)
    elif shape.kind == CYLINDER:
        n = _cylinder_normal(shape, p)
    else:
        n = (p[0] / shape.hx**2, p[1] / shape.hy**2, p[2] / shape.hz**2)
    return p, unit(n), part
