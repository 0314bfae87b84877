"""Hashed lattice noise that the procedural surfaces are made of."""

from __future__ import annotations

import math

from first_bread.compiling import inner


@inner
def hash_unit(n: int) -> float:
    """A number in 0..1 from an integer: a multiplicative hash, 24 bits of it."""
    n ^= n >> 15
    n = (n * 0x2C1B3C6D) & 0xFFFFFFFFFF
    n ^= n >> 17
    return (n & 0xFFFFFF) * (1.0 / 16777216.0)


@inner
def cell(i: int, j: int, k: int) -> float:
    """The number of one lattice cell, 0..1."""
    return hash_unit(i * 73856093 + j * 19349663 + k * 83492791)


@inner
def value_noise(x: float, y: float, z: float) -> float:
    """Smooth noise, 0..1, one feature per unit."""
    fx = math.floor(x)
    fy = math.floor(y)
    fz = math.floor(z)
    i = int(fx)
    j = int(fy)
    k = int(fz)
    x -= fx
    y -= fy
    z -= fz
    x = x * x * (3.0 - 2.0 * x)
    y = y * y * (3.0 - 2.0 * y)
    z = z * z * (3.0 - 2.0 * z)
    low = cell(i, j, k)
    low += (cell(i + 1, j, k) - low) * x
    high = cell(i, j + 1, k)
    high += (cell(i + 1, j + 1, k) - high) * x
    near = low + (high - low) * y
    low = cell(i, j, k + 1)
    low += (cell(i + 1, j, k + 1) - low) * x
    high = cell(i, j + 1, k + 1)
    high += (cell(i + 1, j + 1, k + 1) - high) * x
    return near + (low + (high - low) * y - near) * z


@inner
def fractal(x: float, y: float, z: float, octaves: int) -> float:
    """Octaves of `value_noise`, each half as strong and twice as fine; 0..1."""
    total = 0.0
    weight = 0.5
    for _ in range(octaves):
        total += weight * value_noise(x, y, z)
        weight *= 0.5
        x = x * 2.03 + 7.1
        y = y * 2.01 + 3.7
        z = z * 2.02 + 1.3
    return total


@inner
def smooth(a: float, b: float, x: float) -> float:
    """0 below a, 1 above b, smooth between (a may be the larger)."""
    t = min(max((x - a) / (b - a), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@inner
def voronoi(x: float, y: float) -> tuple[float, float]:
    """About the distance to the nearest cell edge, and the cell's own number."""
    i = math.floor(x)
    j = math.floor(y)
    nearest = 9.0
    second = 9.0
    who = 0.0
    for dj in range(-1, 2):
        for di in range(-1, 2):
            px = i + di + 0.15 + 0.7 * cell(i + di, j + dj, 5)
            py = j + dj + 0.15 + 0.7 * cell(i + di, j + dj, 9)
            d = math.hypot(px - x, py - y)
            if d < nearest:
                second = nearest
                nearest = d
                who = cell(i + di, j + dj, 77)
            elif d < second:
                second = d
    return second - nearest, who
