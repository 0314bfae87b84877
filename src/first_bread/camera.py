"""A simple camera: a light-linear still becomes the code values of one frame.

Model, per pixel, on linear light x of the camera's own primaries (0.18 = grey card): noise of
variance a (x + 0.01), clipping where the sensor is full, the transfer curve, Y'CbCr, chroma sited
left. The noise is constant in q = sqrt((x + 0.01) / 14), and q is also the index of the curve's
table. Everything is done row by row in single precision, so that it vectorises.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.ycbcr import MATRICES
from first_bread.compiling import inner, loop

Array = npt.NDArray[np.float64]
Row = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint16]

OFFSET = 0.01
TOP = 14.0
VARIANCE = 1.6e-4
_STEPS = 32768
_BLUE = 1.25  # deviation of the blue noise over the others'
_F = np.float32
_ONE = np.float32(1.0)
_ZERO = np.float32(0.0)
_OFFSET = np.float32(OFFSET)
_PER_TOP = np.float32(1.0 / TOP)
_TABLE = np.float32(_STEPS)
_LAST = np.float32(_STEPS - 1)


@dataclass(frozen=True, slots=True)
class Sensor:
    """How one clip's camera records light: its curve as a table, noise, clipping, Y'CbCr."""

    table: Row
    deviation: float
    full: float
    luma: tuple[float, float]
    bits: int

    @classmethod
    def of(cls, encoding: Encoding, grain: float, clip: float, bits: int) -> Sensor:
        """The camera for an encoding; `clip` is the light at which it is full."""
        q = (np.arange(_STEPS) + 0.5) / _STEPS
        light = q * q * TOP - OFFSET
        signal = transfer_of(encoding).to_signal(light[:, None].repeat(3, 1), encoding.range)
        table = np.maximum(np.nan_to_num(signal[:, 1]), 0.0).astype(np.float32)
        deviation = math.sqrt(VARIANCE * grain / TOP) / 2.0
        full = math.sqrt((clip + OFFSET) / TOP)
        return cls(table, deviation, full, MATRICES[encoding.matrix], bits)


def noise_tile(width: int, seed: int = 1, side: int = 1031) -> npt.NDArray[np.float32]:
    """Noise (3, side, side + width) of variance one, a little soft as after demosaicing.

    Every row repeats after `side` pixels, so that a row of `width` can start anywhere.
    """
    random = np.random.default_rng(seed)
    a = random.standard_normal((3, side, side), np.float32)
    a = 0.5 * a + 0.25 * np.roll(a, 1, 1) + 0.25 * np.roll(a, 1, 2)
    a[0] = 0.6 * a[0] + 0.4 * a[1]
    a[2] = 0.6 * a[2] + 0.4 * a[1]
    a /= a.std((1, 2), keepdims=True)
    a[2] *= _BLUE
    return np.ascontiguousarray(np.take(a, np.arange(side + width) % side, axis=2))


def near_depth(depth: Row) -> Row:
    """Inverse distance at half the size, grown and softened round what is near."""
    h, w = depth.shape[0] // 2 * 2, depth.shape[1] // 2 * 2
    small = depth[:h, :w].reshape(h // 2, 2, w // 2, 2).max((1, 3))
    for axis in (0, 1):
        small = np.maximum(np.maximum(np.roll(small, 1, axis), np.roll(small, -1, axis)), small)
    for axis in (0, 1):
        small = 0.5 * small + 0.25 * (np.roll(small, 1, axis) + np.roll(small, -1, axis))
    return np.ascontiguousarray(small, np.float32)


@inner
def _where(view: Array, y: int, u: Row, v: Row) -> None:
    """Where each pixel of row y lies in the still."""
    u0 = _F(view[0, 1] * y + view[0, 2])
    v0 = _F(view[1, 1] * y + view[1, 2])
    d0 = _F(view[2, 1] * y + view[2, 2])
    u1 = _F(view[0, 0])
    v1 = _F(view[1, 0])
    d1 = _F(view[2, 0])
    for x in range(u.size):
        f = _F(x)
        d = _ONE / (d1 * f + d0)
        u[x] = (u1 * f + u0) * d
        v[x] = (v1 * f + v0) * d


@inner
def _clamp(a: Row, top: float) -> None:
    """Keep places inside the still."""
    highest = _F(top)
    for x in range(a.size):
        a[x] = min(max(a[x], _ZERO), highest)


@inner
def _shift(depth: Row, shift: Array, u: Row, v: Row) -> None:
    """Parallax: what is near moves more."""
    dx = _F(shift[0])
    dy = _F(shift[1])
    half = _F(0.5)
    for x in range(u.size):
        z = depth[np.uint32(v[x] * half), np.uint32(u[x] * half)]
        u[x] += dx * z
        v[x] += dy * z


@inner
def _sway(sways: Row, u: Row, v: Row) -> None:
    """Move what breathes or works."""
    for k in range(sways.shape[0]):
        cx = sways[k, 0]
        cy = sways[k, 1]
        rx = _ONE / sways[k, 2]
        ry = _ONE / sways[k, 3]
        ends = min(abs(v[0] - cy), abs(v[v.size - 1] - cy))
        if ends > sways[k, 3] * _F(1.2) + abs(v[0] - v[v.size - 1]):
            continue
        for x in range(u.size):
            a = (u[x] - cx) * rx
            b = (v[x] - cy) * ry
            e = max(_ONE - a * a - b * b, _ZERO)
            u[x] -= sways[k, 4] * e * e
            v[x] -= sways[k, 5] * e * e


@inner
def _fetch(canvas: Row, u: Row, v: Row, light: Row) -> None:
    """Bilinear light (3, width) at places of the still."""
    one = np.uint32(1)
    for x in range(u.size):
        i = np.uint32(u[x])
        j = np.uint32(v[x])
        fx = u[x] - _F(i)
        fy = v[x] - _F(j)
        d = fx * fy
        b = fx - d
        c = fy - d
        a = _ONE - fx - c
        i1 = i + one
        j1 = j + one
        for k in range(3):
            upper = a * canvas[j, i, k] + b * canvas[j, i1, k]
            light[k, x] = upper + c * canvas[j1, i, k] + d * canvas[j1, i1, k]


@inner
def _record(light: Row, noise: Row, deviation: float, full: float, table: Row) -> None:
    """Light of one channel to signal, in place."""
    sigma = _F(deviation)
    top = _F(full)
    for x in range(light.size):
        q = math.sqrt(max(light[x] + _OFFSET, _ZERO) * _PER_TOP) + sigma * noise[x]
        light[x] = min(max(min(q, top) * _TABLE, _ZERO), _LAST)
    for x in range(light.size):
        light[x] = table[np.uint32(light[x])]


@inner
def _luma(signal: Row, kr: float, kb: float, scale: float, luma: Row, codes: Codes) -> None:
    red = _F(kr)
    blue = _F(kb)
    green = _F(1.0 - kr - kb)
    gain = _F(219.0 * scale)
    base = _F(16.0 * scale + 0.5)
    top = _F(256.0 * scale - 1.0)
    for x in range(luma.size):
        luma[x] = red * signal[0, x] + green * signal[1, x] + blue * signal[2, x]
        codes[x] = np.uint16(min(max(luma[x] * gain + base, _ZERO), top))


@inner
def _difference(signal: Row, luma: Row, gain: float, out: Row) -> None:
    """Add gain times (signal - luma)."""
    k = _F(gain)
    for x in range(luma.size):
        out[x] += k * (signal[x] - luma[x])


@inner
def _chroma(difference: Row, scale: float, codes: Codes) -> None:
    """Every second sample after a 1-2-1 filter, sited with the left pixel; then clear."""
    quarter = _F(0.25)
    base = _F(128.0 * scale + 0.5)
    top = _F(256.0 * scale - 1.0)
    last = difference.size - 1
    for x in range(codes.size):
        left = difference[max(2 * x - 1, 0)]
        right = difference[min(2 * x + 1, last)]
        mean = quarter * (left + right) + _F(0.5) * difference[2 * x]
        codes[x] = np.uint16(min(max(mean + base, _ZERO), top))
    difference[:] = _ZERO


@loop
def _frame(
    canvas: Row,
    depth: Row,
    view: Array,
    shift: Array,
    sways: Row,
    noise: Row,
    start: tuple[int, int],
    sensor: tuple[Row, float, float, float, float, float],
    planes: tuple[Codes, Codes, Codes],
) -> None:
    table, deviation, full, kr, kb, scale = sensor
    luma_plane, cb_plane, cr_plane = planes
    h, w = luma_plane.shape
    pair = h // cb_plane.shape[0]
    u = np.empty(w, np.float32)
    v = np.empty(w, np.float32)
    luma = np.empty(w, np.float32)
    light = np.empty((3, w), np.float32)
    cb = np.zeros(w, np.float32)
    cr = np.zeros(w, np.float32)
    for y in range(h):
        _where(view, y, u, v)
        _clamp(u, canvas.shape[1] - 2.01)
        _clamp(v, canvas.shape[0] - 2.01)
        _shift(depth, shift, u, v)
        _sway(sways, u, v)
        _clamp(u, canvas.shape[1] - 1.01)
        _clamp(v, canvas.shape[0] - 1.01)
        _fetch(canvas, u, v, light)
        row = (y + start[1]) % noise.shape[1]
        for c in range(3):
            grain = noise[c, row, start[0] : start[0] + w]
            _record(light[c], grain, deviation, full, table)
        _luma(light, kr, kb, scale, luma, luma_plane[y])
        _difference(light[2], luma, 112.0 * scale / (1.0 - kb) / pair, cb)
        _difference(light[0], luma, 112.0 * scale / (1.0 - kr) / pair, cr)
        if (y + 1) % pair == 0:
            _chroma(cb, scale, cb_plane[y // pair])
            _chroma(cr, scale, cr_plane[y // pair])


def expose(
    canvas: Row,
    depth: Row,
    view: Array,
    shift: Array,
    sways: Row,
    noise: Row,
    start: tuple[int, int],
    sensor: Sensor,
    planes: tuple[Codes, Codes, Codes],
) -> None:
    """Fill narrow-range Y', Cb and Cr planes (4:2:2 or 4:2:0) with one frame.

    canvas: (rows, columns, 4) light in the camera's primaries; depth: from `near_depth`; view: 3x3
    from coded pixels to the still; shift: parallax; sways: rows of `Canvas.sway`; noise: from
    `noise_tile`, read from `start` (x, y) on.
    """
    scale = float(1 << (sensor.bits - 8))
    settings = (sensor.table, sensor.deviation, sensor.full, *sensor.luma, scale)
    _frame(canvas, depth, view, shift, sways, noise, start, settings, planes)
