"""The grade of a picture written plainly in float64 NumPy, to hold the kernels against.

Formulas: codes by H.273 section 8.3; chroma sites by H.273 figure 1, type 0; tetrahedral
interpolation by sorting the fractions of each pixel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.frame import PlaneFormat, Planes

Float = NDArray[np.float64]


def scales(f: PlaneFormat) -> tuple[float, float, float, float]:
    """(span and zero of Y', span and zero of chroma), H.273 equations 20 to 29."""
    step, top = 2.0 ** (f.bits - 8), 2.0**f.bits - 1.0
    if f.full:
        return top, 0.0, top, 2.0 ** (f.bits - 1)
    return 219.0 * step, 16.0 * step, 224.0 * step, 128.0 * step


def up_across(c: Float, width: int) -> Float:
    """Chroma on even columns -> every column."""
    left = np.repeat(c, 2, axis=1)[:, :width]
    right = np.repeat(np.concatenate([c[:, 1:], c[:, -1:]], axis=1), 2, axis=1)[:, :width]
    odd = (np.arange(width) % 2).astype(float)
    return left + odd * 0.5 * (right - left)


def up_down(c: Float, height: int) -> Float:
    """Chroma half-way between two rows -> every row."""
    y = np.clip((np.arange(height) - 0.5) / 2.0, 0, c.shape[0] - 1)
    lower = np.floor(y).astype(int)
    upper = np.minimum(lower + 1, c.shape[0] - 1)
    share = (y - lower)[:, None]
    return c[lower] * (1 - share) + c[upper] * share


def full_size(planes: Planes, f: PlaneFormat) -> Float:
    """Planes -> (h, w, 3) of Y', Pb, Pr in units of the signal."""
    luma_span, black, chroma_span, neutral = scales(f)
    height, width = planes[0].shape
    out = [(planes[0].astype(float) - black) / luma_span]
    for plane in planes[1:]:
        c = (plane.astype(float) - neutral) / chroma_span
        c = up_down(c, height) if f.sub_y == 2 else c
        out.append(up_across(c, width) if f.sub_x == 2 else c)
    return np.stack(out, axis=-1)


def to_signal(ycc: Float, kr_kb: tuple[float, float]) -> Float:
    """Y'PbPr -> R'G'B' by inverting the defining equations as a matrix."""
    kr, kb = kr_kb
    luma = np.array([kr, 1 - kr - kb, kb])
    blue = (np.array([0, 0, 1.0]) - luma) / (2 * (1 - kb))
    red = (np.array([1.0, 0, 0]) - luma) / (2 * (1 - kr))
    return ycc @ np.linalg.inv(np.stack([luma, blue, red])).T


def tetrahedral(lattice: Float, place: Float) -> Float:
    """Interpolate lattice [b, g, r] at places (…, 3) in cells, by the definition."""
    size = lattice.shape[0]
    flat = place.reshape(-1, 3)
    cell = np.clip(np.floor(flat), 0, size - 2).astype(int)
    fraction = flat - cell
    order = np.argsort(-fraction, axis=1, kind="stable")
    rows = np.arange(len(flat))
    corner = cell.copy()
    value = lattice[corner[:, 2], corner[:, 1], corner[:, 0]].copy()
    for k in range(3):
        axis = order[:, k]
        before = lattice[corner[:, 2], corner[:, 1], corner[:, 0]]
        corner[rows, axis] += 1
        after = lattice[corner[:, 2], corner[:, 1], corner[:, 0]]
        value += fraction[rows, axis][:, None] * (after - before)
    return value.reshape(*place.shape[:-1], lattice.shape[-1])


def down_across(c: Float) -> Float:
    """1-2-1 around the even columns, the outermost column repeated."""
    wide = np.pad(c, ((0, 0), (1, 1)), mode="edge")
    return (0.25 * wide[:, :-2] + 0.5 * wide[:, 1:-1] + 0.25 * wide[:, 2:])[:, ::2]


def down_down(c: Float) -> Float:
    """The mean of two rows, the last row repeated where the height is odd."""
    even = np.pad(c, ((0, c.shape[0] % 2), (0, 0)), mode="edge")
    return 0.5 * (even[0::2] + even[1::2])


def to_planes(codes: Float, f: PlaneFormat) -> tuple[Float, Float, Float]:
    """(h, w, 3) of 10-bit narrow codes -> planes of unrounded codes within the codes allowed."""
    luma_span, black, chroma_span, neutral = scales(f)
    step = 2.0 ** (f.bits - 8)
    limits = (0.0, 2.0**f.bits - 1.0) if f.full else (step, 255.0 * step - 1.0)
    out = [(codes[..., 0] - 64.0) / 876.0 * luma_span + black]
    for k in (1, 2):
        c = (codes[..., k] - 512.0) / 896.0 * chroma_span + neutral
        c = down_across(c) if f.sub_x == 2 else c
        out.append(down_down(c) if f.sub_y == 2 else c)
    return tuple(np.clip(c, *limits) for c in out)


def grade(
    planes: Planes,
    source: PlaneFormat,
    kr_kb: tuple[float, float],
    lattice: Float,
    nodes: Float,
    target: PlaneFormat,
) -> tuple[Float, Float, Float]:
    """The whole grade, unrounded; `nodes` are the signals of the lattice's nodes."""
    signal = to_signal(full_size(planes, source), kr_kb)
    place = np.interp(signal, nodes, np.arange(len(nodes), dtype=float))
    return to_planes(tetrahedral(lattice, place), target)
