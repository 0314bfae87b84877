"""Things that stand about in a bakery: loaves, baskets, crates, sacks, wheels, plants."""

from __future__ import annotations

import math

from first_bread.records import (
    CLOTH,
    CRUST,
    DOUGH,
    LEAVES,
    PLAIN,
    SACK,
    STEEL,
    WICKER,
    WOOD,
)
from first_bread.reflectances import ROW
from first_bread.scene import Capsule, Point, Scene

_CRUST = "crust_gold"


def _pill(half: float, radius: float, blend: float = 0.03, y: float = 0.0) -> Capsule:
    """A piece of crust along x."""
    return Capsule((-half, y, 0.0), radius, (half, y, 0.0), radius, _CRUST, blend=blend)


def loaf(
    scene: Scene,
    at: Point,
    kind: str = "long",
    yaw: float = 0.0,
    size: float = 1.0,
    flour: float = 0.8,
) -> None:
    """A loaf standing at `at`: "long", "round", "tin", "stick" or "roll"."""
    x, y, z = at
    if kind == "round":
        parts = [_pill(0.012, 0.115 * size)]
        rise, marks = 0.068 * size, {"amplitude": 0.016, "frequency": 14, "squash": 0.62}
    elif kind == "tin":
        parts = [_pill(0.085 * size, 0.062 * size, y=-0.01)]
        parts.append(_pill(0.08 * size, 0.066 * size, y=0.045 * size))
        rise, marks = 0.068 * size, {"amplitude": 0.010, "frequency": 18, "squash": 1.0}
        flour *= 0.4
    elif kind == "stick":
        parts = [_pill(0.27 * size, 0.026), _pill(0.2 * size, 0.037)]
        rise, marks = 0.034, {"amplitude": 0.008, "frequency": 25, "squash": 0.85}
    elif kind == "roll":
        parts = [_pill(0.006, 0.05 * size, 0.02)]
        rise, marks = 0.036 * size, {"amplitude": 0.008, "frequency": 26, "squash": 0.75}
        flour *= 0.5
    else:
        parts = [_pill(0.12 * size, 0.045 * size), _pill(0.06 * size, 0.075 * size, 0.04)]
        rise, marks = 0.058 * size, {"amplitude": 0.013, "frequency": 17, "squash": 0.80}
    slashed = int(kind in ("long", "round", "stick"))
    scene.soft(parts, (x, y + rise, z), CRUST, yaw=yaw, slashed=slashed, flour=flour, **marks)


def basket(scene: Scene, at: Point, radius: float = 0.2, height: float = 0.06) -> None:
    """An open round basket lined with linen; `height` is half of its height."""
    x, y, z = at
    middle = (x, y + height, z)
    scene.rod(WICKER, middle, (radius, height), "jute", open_top=1)
    scene.rod(WICKER, middle, (radius * 0.94, height * 0.98), "jute", open_top=1)
    scene.rod(CLOTH, (x, y + 0.02, z), (radius * 0.9, 0.008), "linen")


def dough_ball(scene: Scene, at: Point, radius: float = 0.12, **marks: float) -> None:
    """A piece of dough about the point `at`."""
    marks = {"amplitude": 0.006, "frequency": 10, "squash": 0.45, **marks}
    part = Capsule((-0.01, 0, 0), radius, (0.01, 0, 0), radius, "dough")
    scene.soft([part], at, DOUGH, **marks)


def crate(scene: Scene, at: Point, yaw: float = 0.0) -> None:
    """A slatted crate of loaves."""
    long, wide = 0.30, 0.20
    cos, sin = math.cos(math.radians(yaw)), math.sin(math.radians(yaw))

    def there(x: float, y: float, z: float) -> Point:
        return at[0] + cos * x + sin * z, at[1] + y, at[2] - sin * x + cos * z

    for side in (-1, 1):
        for y in (0.05, 0.135):
            slat = (long, 0.035, 0.008)
            scene.box(WOOD, there(0, y, side * wide), slat, "oak/oak_dark", yaw=yaw)
            end = (0.008, 0.035, wide)
            scene.box(WOOD, there(side * long, y, 0), end, "oak/oak_dark", yaw=yaw)
    scene.box(WOOD, there(0, 0.01, 0), (long, 0.008, wide), "oak/oak_dark", yaw=yaw)
    for i in range(4):
        place = there(-0.2 + 0.135 * i, 0.085, 0.01 * (i % 2))
        loaf(scene, place, "long", yaw + 82 + 12 * scene.random.uniform(-1, 1), 0.92)


def sack(scene: Scene, at: Point, colour: str = "jute", yaw: float = 0.0) -> None:
    """A full sack lying on a shelf at `at`."""
    w, h = 0.17, 0.14
    parts = [
        Capsule((-w * 0.6, 0, 0), h * 0.9, (w * 0.6, 0, 0), h * 0.9, colour, blend=0.04),
        Capsule(
            (-w * 0.7, -h * 0.3, 0), h * 0.7, (w * 0.7, -h * 0.3, 0), h * 0.7, colour, blend=0.04
        ),
    ]
    bands = "soot" if colour == "kraft" else "cotton_blue"
    middle = (at[0], at[1] + h * 0.95, at[2])
    marks = {"blend": 0.08, "amplitude": 0.03, "frequency": 9, "yaw": yaw}
    _banded(scene, parts, middle, bands, marks)


def standing_sack(scene: Scene, at: Point, yaw: float = 80.0) -> None:
    """A tied sack that stands on the ground."""
    parts = [
        Capsule((-0.15, 0, 0), 0.19, (0.15, 0, 0), 0.19, "jute", blend=0.05),
        Capsule((-0.1, 0.2, 0), 0.15, (0.12, 0.22, 0), 0.13, "jute", blend=0.05),
    ]
    marks = {"blend": 0.1, "amplitude": 0.03, "frequency": 8, "yaw": yaw}
    _banded(scene, parts, (at[0], at[1] + 0.19, at[2]), "cotton_blue", marks)


def _banded(
    scene: Scene, parts: list[Capsule], at: Point, bands: str, marks: dict[str, float]
) -> None:
    scene.soft(parts, at, SACK, second=ROW[bands], **marks)


def wheel(scene: Scene, at: Point, radius: float, yaw: float) -> None:
    """A spoked wooden wheel, upright, its axle turned by yaw."""
    spokes, pieces = 8, 22

    def rim(turn: float) -> Point:
        angle = turn * 2.0 * math.pi
        return radius * math.cos(angle), radius * math.sin(angle), 0.0

    def bar(a: Point, ra: float, b: Point, rb: float, colour: str) -> Capsule:
        return Capsule(a, ra, b, rb, colour, PLAIN, 0.01)

    parts = [
        bar(rim(i / pieces), 0.020, rim((i + 1) / pieces), 0.020, "oak_dark") for i in range(pieces)
    ]
    parts += [bar((0, 0, 0), 0.014, rim(i / spokes), 0.011, "oak_dark") for i in range(spokes)]
    parts.append(bar((0, 0, -0.05), 0.04, (0, 0, 0.05), 0.04, "iron"))
    scene.soft(parts, at, PLAIN, blend=0.012, yaw=yaw)


def stems(scene: Scene, at: Point, count: int, head: str, spread: float, height: float) -> None:
    """Flowers or ears of corn in a vase whose mouth is at `at`."""
    stem = "leaf" if head == "mustard" else "mustard"
    width = 0.016 if head == "mustard" else 0.011
    for i in range(count):
        turn = i * 2.4
        away = spread * (1.0 + 0.35 * math.sin(5 * i))
        top = height + 0.25 * height * math.sin(3 * i)
        x, z = away * math.cos(turn), away * math.sin(turn)
        neck = (x, top, z)
        tip = (x * 1.3, top * 1.32, z * 1.3)
        flower = Capsule(
            neck, width, tip, width * 0.6, head, PLAIN if width > 0.012 else CLOTH, 0.004
        )
        scene.soft([Capsule((0, 0, 0), 0.0035, neck, 0.003, stem, PLAIN, 0.002), flower], at)


def ivy(scene: Scene, at: Point, reach: tuple[float, float], count: int, yaw: float = 0.0) -> None:
    """Ivy that has climbed a wall: lumps of leaves over (width, height) about `at`."""
    lumps = []
    for _ in range(count):
        y = scene.random.uniform(-1, 1)
        x = scene.random.uniform(-1, 1) * reach[0] * (0.75 - 0.35 * y)
        a = (x, y * reach[1], 0.0)
        b = (x + scene.random.uniform(-0.2, 0.2), y * reach[1] - 0.2, 0.02)
        size = scene.random.uniform(0.07, 0.13)
        lumps.append(Capsule(a, size, b, size * 0.7, "leaf", LEAVES, 0.05))
    scene.soft(lumps, at, LEAVES, blend=0.06, amplitude=0.09, frequency=13, yaw=yaw)


def shaded_lamp(scene: Scene, at: Point, cord: float, radius: float, half: float) -> None:
    """An enamel shade on a cord; its mouth is at `at`."""
    x, y, z = at
    scene.rod(STEEL, (x, y + cord, z), (0.004, cord), "iron")
    scene.ball(PLAIN, (x, y + half, z), (radius, half, radius), "tile_green")
