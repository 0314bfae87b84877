"""Pictures that are right as they are, and that every statistic of the whole picture gets wrong.

Sunset, night, forest, lamp light, snow, a red wall, a face that fills the frame and a concert,
painted with reflectances derived from spectra under lights on or off the Planckian locus. Linear
BT.2020, balanced as a camera operator would: the light of the scene is meant.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np
import simulated_camera as camera

from first_bread.reflectances import REFLECTANCE

SIZE = (1280, 720)
Picture = np.ndarray


def lamp(mired: float, duv: float = 0.0) -> np.ndarray:
    """Linear BT.2020 (3,) of a light so much warmer than the balance, of luminance one."""
    return np.maximum(camera.Fault(0.0, mired, duv).matrix() @ np.ones(3), 0.0)


def things(seed: int, names: Sequence[str], number: int = 450, spread: float = 0.5) -> Picture:
    """Overlapping shapes of some reflectances, with grain, as things that fill a frame."""
    rng = np.random.default_rng(seed)
    w, h = SIZE
    picture = np.full((h, w, 3), REFLECTANCE["shop"][names[0]], np.float32)
    for _ in range(number):
        colour = np.array(REFLECTANCE["shop"][str(rng.choice(names))])
        colour = colour * 2.0 ** (rng.normal(0, spread) + rng.normal(0, 0.06, 3))
        extent = float(np.minimum(rng.pareto(1.3) * 14 + 6, 200))
        axes = (int(extent), int(extent * rng.uniform(0.3, 1.0)))
        centre = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        angle = float(rng.uniform(0, 180))
        cv2.ellipse(picture, centre, axes, angle, 0, 360, colour.tolist(), -1, cv2.LINE_8)
    return picture * np.exp2(grain(seed, 0.12))[..., None]


def grain(seed: int, deviation: float) -> np.ndarray:
    """Texture of several sizes (h, w), in stops."""
    rng = np.random.default_rng(seed + 1000)
    w, h = SIZE
    total = np.zeros((h, w), np.float32)
    for step in (2, 4, 8, 16, 32):
        octave = rng.standard_normal((h // step + 2, w // step + 2)).astype(np.float32)
        total += cv2.resize(octave, (w, h), interpolation=cv2.INTER_CUBIC) * deviation
    return total


def pool(x: float, y: float, radius: float) -> np.ndarray:
    """Light that falls off from a place (shares of the picture), (h, w, 1), 0..1."""
    w, h = SIZE
    v, u = np.mgrid[0:h, 0:w].astype(np.float32)
    away = ((u / w - x) ** 2 + ((v / h - y) * h / w) ** 2) / radius**2
    return (1.0 / (1.0 + away))[..., None]


def sunset() -> Picture:
    """The sun on the horizon, clipped; the land nearly black; all of it warm."""
    w, h = SIZE
    up = np.linspace(1, 0, h, dtype=np.float32)[:, None, None]
    sky = 0.9 * (1 - up) * lamp(190) + 0.16 * up * lamp(-45, 0.004)
    sky = sky * np.exp2(grain(1, 0.08))[..., None] + 9.0 * pool(0.62, 0.62, 0.02) ** 2 * lamp(150)
    land = things(2, ("leaf", "slate", "cobble", "brick_dark")) * 0.25 * lamp(120)
    ridge = (0.66 + 0.04 * np.sin(np.arange(w) / 90.0) + 0.02 * np.sin(np.arange(w) / 23.0)) * h
    below = (np.arange(h)[:, None] > ridge[None])[..., None]
    return np.where(below, land, sky)


def night() -> Picture:
    """A street with four sodium lamps; most of it within a few codes of black."""
    street = things(3, ("cobble", "slate", "brick_dark", "oak_dark", "iron"))
    light = np.full((1, 1, 3), 0.02) * lamp(-40)
    for x, y in ((0.15, 0.3), (0.4, 0.4), (0.62, 0.45), (0.9, 0.25)):
        light = light + 0.8 * pool(x, y, 0.06) * lamp(260, -0.002)
        street = street + 30.0 * (pool(x, y - 0.1, 0.004) ** 3)
    return street * light


def forest() -> Picture:
    """Leaves everywhere, spots of sun, shade lit by more leaves."""
    leaves = things(4, ("leaf", "leaf", "leaf", "walnut", "oak_dark"), spread=0.8)
    spots = 1 / (1 + np.exp(-(grain(5, 0.8) - 1.4) * 3))
    green = lamp(-20, 0.012)
    return leaves * (2.2 * spots[..., None] * lamp(8) + 0.5 * green)


def lamp_light() -> Picture:
    """A room by bulbs, meant to stay warm."""
    names = ("plaster", "oak", "walnut", "linen", "cotton_red", "mustard", "skin_2", "kraft")
    room = things(6, names)
    return room * (0.9 * pool(0.3, 0.3, 0.25) + 0.25 * pool(0.8, 0.6, 0.3)) * lamp(110)


def snow() -> Picture:
    """White ground with blue shadows under a hard sun."""
    white = np.array([0.86, 0.88, 0.9], np.float32)
    ground = white * np.exp2(0.5 * grain(7, 0.12))[..., None]
    shade = 1 / (1 + np.exp(-(grain(8, 0.6) - 0.6) * 4))[..., None]
    trees = things(9, ("leaf", "oak_dark", "walnut"), 60)
    stands = (things(9, ("flour", "iron"), 60)[..., 1:2] < 0.2).astype(np.float32)
    lit = (1 - shade) * lamp(4) + 0.35 * shade * lamp(-50, 0.002)
    return (ground * (1 - stands) + trees * stands) * lit * 0.95


def red_wall() -> Picture:
    """Painted brick from edge to edge."""
    wall = things(10, ("cotton_red",), 300, 0.15)
    w, h = SIZE
    joints = (np.arange(h)[:, None] % 60 < 5) | (np.arange(w)[None] % 120 < 5)
    mortar = np.array(REFLECTANCE["shop"]["brick_dark"]) * np.exp2(grain(11, 0.15))[..., None]
    return np.where(joints[..., None], mortar, wall) * (0.6 + 0.6 * pool(0.2, 0.2, 0.5))


def face() -> Picture:
    """Skin over nine tenths of the frame, pores and all."""
    w, h = SIZE
    skin = np.array(REFLECTANCE["shop"]["skin_4"]) * np.exp2(grain(12, 0.1))[..., None]
    for x, y, rx, ry, name in (
        (0.36, 0.38, 60, 26, "flour"), (0.64, 0.38, 60, 26, "flour"), (0.5, 0.78, 110, 34, "lips"),
        (0.36, 0.38, 24, 24, "hair_brown"), (0.64, 0.38, 24, 24, "hair_brown"),
        (0.36, 0.28, 90, 12, "hair_dark"), (0.64, 0.28, 90, 12, "hair_dark"),
    ):  # fmt: skip
        centre = (int(x * w), int(y * h))
        colour = REFLECTANCE["shop"][name]
        layer = np.full_like(skin, colour) * np.exp2(grain(13, 0.1))[..., None]
        mask = np.zeros((h, w), np.float32)
        cv2.ellipse(mask, centre, (rx, ry), 0, 0, 360, 1.0, -1)
        mask = cv2.GaussianBlur(mask, (0, 0), 2)[..., None]
        skin = skin * (1 - mask) + layer * mask
    return skin * (0.5 + 0.8 * pool(0.35, 0.3, 0.4))


def concert() -> Picture:
    """A dark stage in red and blue light far off the locus, with beams that clip."""
    stage = things(14, ("iron", "denim", "skin_2", "skin_5", "steel", "walnut"))
    red, blue = np.array([1.0, 0.06, 0.10]), np.array([0.10, 0.16, 1.6])
    light = 1.2 * pool(0.3, 0.4, 0.12) * red + 1.2 * pool(0.7, 0.4, 0.12) * blue + 0.01
    beams = 6.0 * pool(0.3, 0.05, 0.03) ** 2 * red + 6.0 * pool(0.7, 0.05, 0.03) ** 2 * blue
    return stage * light + beams


PAINTED: dict[str, Callable[[], Picture]] = {
    "sunset": sunset, "night": night, "forest": forest, "lamp light": lamp_light, "snow": snow,
    "red wall": red_wall, "face": face, "concert": concert,
}  # fmt: skip

# Photographs that come in Python packages, by what they show; used where a package is installed.
IN_PACKAGES = {
    "rocket at night": ("skimage", "data/rocket.jpg"),
    "portrait": ("skimage", "data/astronaut.png"),
    "cat's face": ("skimage", "data/chelsea.png"),
    "red cup": ("skimage", "data/coffee.png"),
    "garage": ("skimage", "data/motorcycle_left.png"),
    "pagoda": ("sklearn", "datasets/images/china.jpg"),
    "flower": ("sklearn", "datasets/images/flower.jpg"),
}


@cache
def painted(name: str) -> Picture:
    """One of the painted pictures."""
    picture = np.maximum(PAINTED[name](), 0.0).astype(np.float32)
    return cv2.GaussianBlur(picture, (0, 0), 0.8)


def package_photographs() -> dict[str, Picture]:
    """Photographs of installed packages as linear BT.2020; empty where there is no such package."""
    found = {}
    for name, (package, place) in IN_PACKAGES.items():
        spec = find_spec(package)
        path = Path(str(spec.origin)).parent / place if spec and spec.origin else Path()
        if not path.is_file():
            continue
        coded = cv2.imread(str(path))[..., ::-1].astype(np.float32) / 255
        linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
        linear = cv2.transform(
            linear.astype(np.float32), np.linalg.inv(camera.BT2020) @ camera.BT709
        )
        scale = max(SIZE[0] / linear.shape[1], SIZE[1] / linear.shape[0])
        found[name] = np.maximum(
            cv2.resize(linear, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), 0
        ).astype(np.float32)
    return found
