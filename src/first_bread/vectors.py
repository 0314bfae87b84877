"""Points, directions and colours as tuples of three, for compiled code."""

from __future__ import annotations

import math

from first_bread.compiling import inner

Triple = tuple[float, float, float]


@inner
def add(a: Triple, b: Triple) -> Triple:
    """Sum."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


@inner
def sub(a: Triple, b: Triple) -> Triple:
    """Difference."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@inner
def mul(a: Triple, b: Triple) -> Triple:
    """Product, component by component."""
    return a[0] * b[0], a[1] * b[1], a[2] * b[2]


@inner
def scale(a: Triple, k: float) -> Triple:
    """Every component times k."""
    return a[0] * k, a[1] * k, a[2] * k


@inner
def along(a: Triple, b: Triple, k: float) -> Triple:
    """The point a + k b."""
    return a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]


@inner
def mix(a: Triple, b: Triple, k: float) -> Triple:
    """From a (k = 0) to b (k = 1)."""
    return a[0] + k * (b[0] - a[0]), a[1] + k * (b[1] - a[1]), a[2] + k * (b[2] - a[2])


@inner
def dot(a: Triple, b: Triple) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@inner
def cross(a: Triple, b: Triple) -> Triple:
    """Vector product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@inner
def unit(a: Triple) -> Triple:
    """The same direction with length one."""
    k = 1.0 / math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2] + 1e-18)
    return a[0] * k, a[1] * k, a[2] * k


@inner
def facing(n: Triple, ray: Triple) -> Triple:
    """The normal n, turned against the ray."""
    if dot(n, ray) > 0.0:
        return -n[0], -n[1], -n[2]
    return n


@inner
def luminance(a: Triple) -> float:
    """Rounded BT.2020 luminance weights: good enough to weigh directions of light."""
    return 0.26 * a[0] + 0.68 * a[1] + 0.06 * a[2]
