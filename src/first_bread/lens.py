"""What a lens adds to a rendered picture: depth of field and scattered light."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from first_bread.compiling import loop

Picture = npt.NDArray[np.float32]

# (circle of confusion from which a layer counts, blur radius), in pixels of a 2048-pixel picture.
_LAYERS = ((1.0, 2.0), (3.0, 4.0), (7.0, 9.0), (15.0, 18.0))
_LAYER_WIDTH = 2048


@loop
def _box_rows(picture: Picture, out: Picture, radius: int) -> None:
    """Mean of 2 radius + 1 neighbours along each row."""
    h, w, channels = picture.shape
    share = 1.0 / (2 * radius + 1)
    total = np.empty(channels)
    for y in range(h):
        total[:] = 0.0
        for x in range(-radius, radius + 1):
            for c in range(channels):
                total[c] += picture[y, min(max(x, 0), w - 1), c]
        for x in range(w):
            enter = min(x + radius + 1, w - 1)
            leave = max(x - radius, 0)
            for c in range(channels):
                out[y, x, c] = total[c] * share
                total[c] += picture[y, enter, c] - picture[y, leave, c]


def blur(picture: Picture, radius: float) -> Picture:
    """Nearly Gaussian blur of (rows, columns, channels): two box passes each way."""
    pixels = max(1, round(radius))
    done = np.ascontiguousarray(picture, np.float32)
    for _ in range(2):
        for _ in range(2):
            out = np.empty_like(done)
            _box_rows(done, out, pixels)
            done = out
        done = np.ascontiguousarray(done.transpose(1, 0, 2))
    return done


def _halved(picture: Picture) -> Picture:
    h, w, channels = picture.shape
    blocks = picture[: h // 2 * 2, : w // 2 * 2].reshape(h // 2, 2, w // 2, 2, channels)
    halved: Picture = blocks.mean((1, 3), dtype=np.float32)
    return halved


def _doubled(picture: Picture, h: int, w: int) -> Picture:
    doubled = np.repeat(np.repeat(picture, 2, 0), 2, 1)
    grown: Picture = np.pad(
        doubled, ((0, h - doubled.shape[0]), (0, w - doubled.shape[1]), (0, 0)), "edge"
    )
    return grown


def depth_of_field(picture: Picture, depth: Picture, focus: float, aperture: float) -> Picture:
    """Blur by layers: what is out of focus mixes only with what is at least as far out.

    `depth` is inverse distance in 1/m, `focus` the distance in m that is sharp, `aperture` the
    circle of confusion as a share of the picture's width for each 1/m away from it.
    """
    h, w = depth.shape
    size = w / _LAYER_WIDTH
    confusion = np.abs(depth - 1.0 / focus) * aperture * w
    out = picture.copy()
    for least, radius in _LAYERS:
        share = np.clip((confusion - least * size) / (least * size), 0.0, 1.0)
        share = share.astype(np.float32)[..., None]
        if not share.any():
            continue
        weighed = np.concatenate([picture * share, share], 2)
        if radius > 4.0:
            soft = _doubled(blur(_halved(weighed), radius * size / 2.0), h, w)
        else:
            soft = blur(weighed, radius * size)
        out += share * (soft[..., :-1] / np.maximum(soft[..., -1:], 1e-3) - out)
    return out


def _grown(picture: Picture, h: int, w: int, factor: int) -> Picture:
    """Bilinear enlargement of a picture that was reduced by `factor`."""
    ys = np.clip((np.arange(h) + 0.5) / factor - 0.5, 0.0, picture.shape[0] - 1.001)
    xs = np.clip((np.arange(w) + 0.5) / factor - 0.5, 0.0, picture.shape[1] - 1.001)
    j, i = ys.astype(np.intp), xs.astype(np.intp)
    fy = (ys - j).astype(np.float32)[:, None, None]
    fx = (xs - i).astype(np.float32)[None, :, None]
    j1, i1 = np.minimum(j + 1, picture.shape[0] - 1), np.minimum(i + 1, picture.shape[1] - 1)
    rows = picture[j] * (1.0 - fy) + picture[j1] * fy
    grown: Picture = rows[:, i] * (1.0 - fx) + rows[:, i1] * fx
    return grown


def bloom(picture: Picture, amount: float = 0.04) -> Picture:
    """Lens scatter: a share `amount` of the light goes wide."""
    h, w, channels = picture.shape
    factor = max(1, min(8, w // 64))
    cut = np.minimum(picture[: h // factor * factor, : w // factor * factor], 40.0)
    blocks = cut.reshape(h // factor, factor, w // factor, factor, channels)
    small = blocks.mean((1, 3), dtype=np.float32)
    size = w / _LAYER_WIDTH * 8.0 / factor
    wide = 0.55 * blur(small, 3 * size) + 0.3 * blur(small, 10 * size)
    wide += 0.15 * blur(small, 30 * size)
    out: Picture = picture * (1.0 - amount) + amount * _grown(wide, h, w, factor)
    return out
