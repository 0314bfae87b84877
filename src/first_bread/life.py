"""What moves in a place: flicker, steam, sparks and flour dust, people who breathe and work."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from first_bread.compiling import inner, loop
from first_bread.stills import Picture, Still

Array = npt.NDArray[np.float64]
_WALK_RATE = 25
_DRAWN_FOR = 2048  # pixel measures below are for stills of this width


@dataclass(frozen=True, slots=True)
class Steam:
    """A column that rises from (x, y); shares of the still. `colour` is its own light."""

    x: float
    y: float
    width: float
    height: float
    density: float
    colour: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Sway:
    """An ellipse of the still (shares) that moves by (dx, dy) pixels at a rate in hertz."""

    x: float
    y: float
    radius_x: float
    radius_y: float
    dx: float
    dy: float
    rate: float


@dataclass(frozen=True, slots=True)
class Motes:
    """Particles about (x, y), shares of the still: sparks shine, dust scatters light."""

    x: float
    y: float
    spread_x: float
    spread_y: float
    count: int
    rise: float  # shares of the height a second; negative falls
    colour: tuple[float, float, float]
    size: float = 1.3
    lifetime: float = 1.2


@dataclass(frozen=True, slots=True)
class Life:
    """Everything that moves in one place; `parallax` in still pixels for each 1/m."""

    parallax: float = 10.0
    flicker: float = 0.0
    steam: tuple[Steam, ...] = ()
    sway: tuple[Sway, ...] = ()
    motes: tuple[Motes, ...] = ()


LIVES = {
    "oven": Life(
        parallax=12,
        flicker=0.11,
        steam=(
            Steam(0.63, 0.46, 0.10, 0.34, 0.30, (0.16, 0.11, 0.07)),
            Steam(0.12, 0.50, 0.08, 0.40, 0.16, (0.05, 0.045, 0.04)),
        ),
        sway=(Sway(0.43, 0.45, 0.12, 0.45, 5, 2, 0.45),),
        motes=(Motes(0.635, 0.50, 0.05, 0.03, 26, 0.20, (9.0, 2.9, 0.4), 1.2, 0.9),),
    ),
    "prep": Life(
        parallax=9,
        steam=(Steam(0.58, 0.80, 0.30, 0.50, 0.05, (0.5, 0.5, 0.5)),),
        sway=(
            Sway(0.58, 0.66, 0.12, 0.14, 8, 5, 1.1),
            Sway(0.57, 0.35, 0.13, 0.34, 3, 4, 1.1),
        ),
        motes=(Motes(0.56, 0.60, 0.14, 0.12, 70, -0.05, (0.7, 0.7, 0.68), 1.1, 1.8),),
    ),
    "prep_close": Life(steam=(Steam(0.5, 0.8, 0.5, 0.8, 0.10, (0.5, 0.5, 0.5)),)),
    "yard": Life(
        parallax=12,
        steam=(
            Steam(0.235, 0.20, 0.035, 0.20, 0.8, (0.55, 0.56, 0.60)),
            Steam(0.565, 0.50, 0.035, 0.10, 0.35, (0.42, 0.43, 0.47)),
        ),
        sway=(Sway(0.575, 0.55, 0.07, 0.32, 3, 2, 0.8),),
    ),
    "shop": Life(
        sway=(
            Sway(0.50, 0.40, 0.10, 0.34, 4, 2, 0.5),
            Sway(0.88, 0.45, 0.16, 0.50, 5, 2, 0.35),
            Sway(0.04, 0.50, 0.12, 0.45, 4, 2, 0.42),
        ),
    ),
    "shop_close": Life(
        steam=(Steam(0.42, 0.62, 0.16, 0.50, 0.35, (0.80, 0.82, 0.85)),),
        motes=(Motes(0.45, 0.45, 0.35, 0.35, 40, -0.015, (1.6, 1.6, 1.6), 1.0, 2.5),),
    ),
}


def smoke_tile(seed: int = 2, side: int = 1024) -> Picture:
    """Cloud that tiles: noise with an amplitude of 1/f^1.7, spread over 0..1."""
    random = np.random.default_rng(seed)
    f = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None])
    f[0, 0] = 1.0
    spectrum = np.fft.rfft2(random.standard_normal((side, side))) / f**1.7 * (f > 1.5 / side)
    cloud = np.fft.irfft2(spectrum, s=(side, side))
    tile: Picture = (1.0 / (1.0 + np.exp(-1.4 * cloud / cloud.std()))).astype(np.float32)
    return tile


@loop
def _add_fire(picture: Picture, fire: Picture, strength: float, canvas: Picture) -> None:
    """canvas = picture + strength * fire, all flat."""
    k = np.float32(strength)
    for i in range(canvas.size):
        canvas[i] = picture[i] + k * fire[i]


@inner
def _smoke(smoke: Picture, x: float, y: float) -> float:
    side = smoke.shape[0]
    return float(smoke[int(y) % side, int(x) % side])


@loop
def _raise_steam(
    canvas: Picture, box: tuple[int, int, int, int], column: Array, smoke: Picture
) -> None:
    """Draw one column: x, y, width, height (pixels), density, time, colour, pixel scale."""
    left, top, right, bottom = box
    x0, y0, width, height, density, t, red, green, blue, unit = column
    for row in range(top, bottom):
        b = (y0 - row) / height
        if b <= 0.0 or b >= 1.0:
            continue
        v = row / unit
        wobble = (_smoke(smoke, 37.0, v * 0.55 + t * 60) - 0.5) * 0.7 * b
        fade = min(1.0, b * 7.0) * (1.0 - b) ** 1.3 * density * 2.0
        for i in range(left, right):
            a = (i - x0) / width / (0.25 + 0.75 * b) - wobble
            if a * a >= 1.0:
                continue
            u = i / unit
            thick = 0.65 * _smoke(smoke, u * 0.9 + 40 * wobble, v * 0.9 + t * 75)
            thick += 0.35 * _smoke(smoke, u * 1.9 + 17, v * 1.9 + t * 130 + 91) - 0.30
            k = min(max(0.0, thick) * (1.0 - a * a) ** 2 * fade, 0.8)
            canvas[row, i, 0] += k * (red - canvas[row, i, 0])
            canvas[row, i, 1] += k * (green - canvas[row, i, 1])
            canvas[row, i, 2] += k * (blue - canvas[row, i, 2])


@loop
def _scatter(canvas: Picture, motes: Array) -> None:
    """Draw soft spots: rows of x, y, radius, cover, red, green, blue."""
    h, w = canvas.shape[:2]
    for n in range(motes.shape[0]):
        x, y, radius, cover = motes[n, 0], motes[n, 1], motes[n, 2], motes[n, 3]
        reach = int(3.0 * radius) + 1
        for j in range(max(int(y) - reach, 0), min(int(y) + reach + 1, h)):
            for i in range(max(int(x) - reach, 0), min(int(x) + reach + 1, w)):
                d2 = ((i - x) ** 2 + (j - y) ** 2) / (radius * radius)
                k = cover * math.exp(-d2)
                for c in range(3):
                    canvas[j, i, c] += k * (motes[n, 4 + c] - canvas[j, i, c])


def _four(picture: Picture, matrix: Array) -> Picture:
    """Pixels through a 3x3 into a picture of four channels, which are quicker to fetch."""
    out = np.zeros((*picture.shape[:2], 4), np.float32)
    np.matmul(picture, matrix.T.astype(np.float32), out=out[..., :3])
    return out


class Canvas:
    """A still in the light of one camera, redrawn for every frame with what moves in it."""

    def __init__(self, still: Still, place: str, matrix: Array, seed: int) -> None:
        self.life = LIVES[place]
        self.pixels = _four(still.picture, matrix)
        self.height, self.width = self.pixels.shape[:2]
        self.unit = self.width / _DRAWN_FOR
        self._matrix = matrix
        self._fire = _four(still.fire, matrix) if still.fire.size > 3 else None
        self._smoke = smoke_tile()
        self._seed = seed
        self._walk = [
            (left, top, _four(sprite[..., :3], matrix), sprite[..., 3:].astype(np.float32))
            for left, top, sprite in still.walk
        ]
        self._still = self.pixels.copy()
        self._boxes = [self._steam_box(steam) for steam in self.life.steam]
        self._touched: list[tuple[int, int, int, int]] = []

    def _steam_box(self, steam: Steam) -> tuple[int, int, int, int]:
        x, y = steam.x * self.width, steam.y * self.height
        half = 1.5 * steam.width * self.width
        left, right = max(0, int(x - half)), min(self.width, int(x + half) + 1)
        return left, max(0, int(y - steam.height * self.height)), right, min(self.height, int(y))

    def draw(self, seconds: float) -> Picture:
        """The picture (rows, columns, 4) at a time; valid until the next call."""
        self._restore(seconds)
        for steam, box in zip(self.life.steam, self._boxes, strict=True):
            self._draw_steam(steam, box, seconds)
        for number, motes in enumerate(self.life.motes):
            self._draw_motes(motes, number, seconds)
        if self._walk:
            self._draw_walker(self._walk[min(round(seconds * _WALK_RATE), len(self._walk) - 1)])
        return self.pixels

    def sway(self, seconds: float) -> npt.NDArray[np.float32]:
        """Rows of x, y, radii and the move of each swaying ellipse, in pixels."""
        rows = []
        for sway in self.life.sway:
            turn = 2.0 * math.pi * sway.rate * seconds
            dx = sway.dx * self.unit * math.sin(turn)
            dy = sway.dy * self.unit * math.sin(2.0 * turn + 1.0)
            place = (sway.x * self.width, sway.y * self.height)
            rows.append((*place, sway.radius_x * self.width, sway.radius_y * self.height, dx, dy))
        return np.array(rows, np.float32).reshape(-1, 6)

    def _restore(self, seconds: float) -> None:
        if self._fire is not None:
            t = seconds
            wave = 0.6 * math.sin(9.1 * t + 1) * math.sin(3.7 * t) + 0.4 * math.sin(23 * t)
            strength = 1.0 + self.life.flicker * wave
            _add_fire(self._still.ravel(), self._fire.ravel(), strength, self.pixels.ravel())
            return
        for left, top, right, bottom in (*self._boxes, *self._touched):
            region = (slice(max(top, 0), bottom), slice(max(left, 0), right))
            self.pixels[region] = self._still[region]
        self._touched = []

    def _draw_steam(self, steam: Steam, box: tuple[int, int, int, int], seconds: float) -> None:
        colour = self._matrix @ np.array(steam.colour)
        place = (steam.x * self.width, steam.y * self.height)
        size = (steam.width * self.width, steam.height * self.height)
        column = np.array([*place, *size, steam.density, seconds + 3.0, *colour, self.unit])
        _raise_steam(self.pixels, box, column, self._smoke)

    def _draw_motes(self, motes: Motes, number: int, seconds: float) -> None:
        random = np.random.default_rng((self._seed, number))
        start, x, y, wander, speed = random.uniform(0.0, 1.0, (5, motes.count))
        age = (seconds / motes.lifetime + start) % 1.0
        drift = 0.03 * np.sin(6.0 * age + 6.28 * wander) * age
        across = motes.x + (x - 0.5) * 2 * motes.spread_x + drift
        rise = motes.rise * motes.lifetime * age * (0.5 + speed)
        down = motes.y + (y - 0.5) * 2 * motes.spread_y - rise
        radius = np.full(motes.count, max(motes.size * self.unit, 0.6)) * (0.7 + 0.6 * wander)
        cover = 0.55 * np.sin(np.pi * age) ** 2
        colour = self._matrix @ np.array(motes.colour)
        spots = np.column_stack(
            [
                across * self.width,
                down * self.height,
                radius,
                cover,
                np.broadcast_to(colour, (motes.count, 3)),
            ]
        )
        _scatter(self.pixels, spots)
        reach = 3.0 * radius + 2.0
        for (px, py), r in zip(spots[:, :2], reach, strict=True):
            self._touched.append((int(px - r), int(py - r), int(px + r) + 1, int(py + r) + 1))

    def _draw_walker(self, frame: tuple[int, int, Picture, Picture]) -> None:
        left, top, sprite, cover = frame
        bottom, right = top + sprite.shape[0], left + sprite.shape[1]
        region = self.pixels[top:bottom, left:right]
        region *= 1.0 - cover
        region += sprite
        self._touched.append((left, top, right, bottom))
