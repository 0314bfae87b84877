"""The yard at dawn: cobbles, brick walls, lit windows, a handcart, someone going to work."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from first_bread.figure import Clothes, Pose, figure
from first_bread.props import crate, ivy, loaf, standing_sack, wheel
from first_bread.records import (
    BRICK,
    CLOTH,
    COBBLE,
    ELLIPSOID,
    LEAVES,
    PLAIN,
    SLAB,
    STEEL,
    WOOD,
)
from first_bread.scene import KeyCard, Point, Scene, View

_VIEW = View((-0.35, 1.62, -4.6), (0.0, 1.75, 3.0), 60, 6.5, 0.010)
_WALL = 2.45  # the bakery's front
_EAVES = 4.3
_BRICKS = "brick/brick_dark"
_STEP = 1.25  # metres a walker covers in one full stride


def _sky(s: Scene) -> None:
    zenith = s.lamp_colour("sky_9000") * 0.42 * (0.62, 0.9, 1.3)
    horizon = s.lamp_colour("dawn_4200") * (0.80, 0.80, 0.86)
    s.sky[0], s.sky[1], s.sky[2] = zenith, horizon, s.lamp_colour("glow_2100") * 1.2
    s.sky[3] = (-0.55, 0.83, 1.6)
    s.sky[4, 0] = 1.0


def _solid(s: Scene, near: float, far: float) -> None:
    """A stretch of the bakery's wall from z = near to far."""
    middle, half = (near + far) / 2, (far - near) / 2
    s.box(BRICK, (_WALL, _EAVES / 2, middle), (0.14, _EAVES / 2, half), _BRICKS)


def _bay(s: Scene, z: float, half: float, low: float, high: float) -> None:
    """The wall below and above an opening."""
    s.box(BRICK, (_WALL, low / 2, z), (0.14, low / 2, half), _BRICKS)
    s.box(BRICK, (_WALL, (high + _EAVES) / 2, z), (0.14, (_EAVES - high) / 2, half), _BRICKS)


def _window(s: Scene, z: float, half: float) -> None:
    low, high = 1.05, 2.35
    middle = (low + high) / 2
    _bay(s, z, half, low, high)
    warm = s.lamp_colour("bulb_2900") * 1.7
    up = (0, (high - low) / 2, 0)
    place = (2.58, middle, z)
    s.light(place, (0, 0, half), up, (-1, 0, 0), warm, important=False, show=True)
    s.box(CLOTH, (2.55, high - 0.10, z), (0.008, 0.18 if z > 3 else 0.12, half), "linen")
    s.box(WOOD, (2.53, low + 0.36, z), (0.02, 0.012, half), "walnut")
    for k in range(4):
        at = (2.53, low + 0.372, z - half * 0.7 + k * half * 0.45)
        loaf(s, at, "tin" if k % 2 else "long", 90, 0.8)
    s.rod(PLAIN, (2.5, low + 0.10, z + 0.3), (0.07, 0.10), "brick")
    s.ball(LEAVES, (2.5, low + 0.27, z + 0.3), (0.10, 0.11, 0.13), "leaf")
    for k in (-1, 0, 1):
        bar = (2.38, middle, z + k * (half - 0.02))
        s.box(WOOD, bar, (0.025, (high - low) / 2, 0.022), "paint_white")
    for share in (0.0, 0.5, 1.0):
        bar = (2.38, low + share * (high - low), z)
        s.box(WOOD, bar, (0.03, 0.022, half), "paint_white")
    s.box(SLAB, (2.30, low - 0.05, z), (0.10, 0.05, half + 0.1), "mortar/cobble")
    s.box(BRICK, (2.33, high + 0.1, z), (0.05, 0.1, half + 0.12), "mortar/brick")


def _bakery(s: Scene) -> None:
    """The long wall on the right with its windows, the door and the lamp over it."""
    for near, far in ((-6, -1.0), (0.4, 1.6), (2.8, 4.0), (5.4, 6.8), (8.0, 12)):
        _solid(s, near, far)
    for z, half in ((-0.3, 0.7), (4.7, 0.7), (7.4, 0.6)):
        _window(s, z, half)
    _bay(s, 2.2, 0.6, 0.01, 2.2)
    s.box(WOOD, (2.5, 1.1, 2.2), (0.04, 1.1, 0.6), "cotton_blue/denim")
    s.box(WOOD, (2.42, 1.1, 2.2), (0.02, 1.1, 0.03), "denim")
    s.box(SLAB, (2.40, 4.38, 3), (0.28, 0.06, 9), "mortar/cobble")
    s.box(SLAB, (2.9, 4.9, 3), (0.7, 0.05, 9), "slate", roll=35)
    s.rod(STEEL, (2.27, 2.1, 3.35), (0.045, 2.2), "iron")
    s.rod(STEEL, (2.1, 2.98, 2.2), (0.018, 0.22), "iron", roll=70)
    s.ball(PLAIN, (1.9, 2.92, 2.2), (0.15, 0.07, 0.15), "tile_green")
    s.glow(ELLIPSOID, (1.9, 2.85, 2.2), (0.065, 0.07, 0.065), (70, 44, 16))
    lamp = s.lamp_colour("bulb_2700") * 150
    s.light((1.9, 2.82, 2.2), (0.07, 0, 0), (0, 0, 0.07), (0, -1, 0), lamp)


def _gate(s: Scene) -> None:
    """A gate of planks with strap hinges between brick piers."""
    left, right, z = -3.3, -0.5, 8.9
    count = 17
    width = (right - left) / count
    for i in range(count):
        x = left + (i + 0.5) * width
        top = 1.62 + 0.12 * math.sin(math.pi * (i + 0.5) / count) + s.random.uniform(-0.015, 0.015)
        plank = (width / 2 - 0.006, top / 2, 0.02 + 0.006 * s.random.uniform())
        s.box(WOOD, (x, top / 2, z), plank, "oak_dark/oak" if i % 3 else "walnut/oak")
    for leaf in (left, right):
        inward = 1 if leaf == left else -1
        for y in (0.42, 1.32):
            s.box(STEEL, (leaf + inward * 0.5, y, z - 0.04), (0.5, 0.035, 0.006), "iron")
            s.ball(STEEL, (leaf + inward * 0.02, y, z - 0.04), (0.03, 0.06, 0.02), "iron")
    s.box(STEEL, (-1.9, 0.98, z - 0.045), (0.12, 0.02, 0.012), "iron")
    s.box(BRICK, (-0.2, 1.1, 9), (0.25, 1.1, 0.25), _BRICKS)
    s.box(SLAB, (-0.2, 2.25, 9), (0.3, 0.06, 0.3), "mortar")
    s.box(BRICK, (1.3, 0.95, 9.1), (1.3, 0.95, 0.12), _BRICKS)


_HOUSES = (
    (-8, 18, 3.2, 4.2, 1.6),
    (-3.6, 21, 2.6, 4.9, 1.8),
    (0.9, 19, 2.4, 3.9, 1.7),
    (5.5, 22, 3, 5, 1.6),
)


def _round_about(s: Scene) -> None:
    """The cobbles, the yard wall with ivy, the roofs behind."""
    s.box(COBBLE, (0, -0.02, 8), (14, 0.02, 20), "cobble/slate")
    s.box(BRICK, (-3.6, 0.95, 3.2), (0.15, 0.95, 4.6), "brick_dark/brick")
    s.box(SLAB, (-3.6, 1.95, 3.2), (0.2, 0.05, 4.65), "mortar/cobble")
    ivy(s, (-3.44, 1.45, 4.3), (1.2, 0.75), 16, yaw=90)
    ivy(s, (-3.44, 1.75, 1.4), (0.7, 0.45), 9, yaw=90)
    for x, z, half, height, rise in _HOUSES:
        s.box(BRICK, (x, height / 2, z), (half, height / 2, 2), "brick_dark/brick")
        pitch = -math.degrees(math.atan2(rise, 1.9))
        roof = (half + 0.15, 0.05, 1.25 + rise * 0.2)
        s.box(SLAB, (x, height + rise * 0.5, z - 1.0), roof, "slate", pitch=pitch)
        stack = x + half * 0.45
        top = height + rise * 0.9
        s.box(BRICK, (stack, top, z), (0.3, 0.8, 0.3), _BRICKS)
        for pot in (-0.12, 0.12):
            s.rod(PLAIN, (stack + pot, top + 0.95, z), (0.08, 0.18), "brick")
        for window in (-0.5, 0.45):
            pane = (x + window * half, height * 0.62, z - 2.0)
            s.box(PLAIN, pane, (0.35, 0.5, 0.02), "slate")
            s.box(SLAB, (pane[0], pane[1] - 0.54, z - 2.03), (0.42, 0.05, 0.06), "mortar")
    warm = s.lamp_colour("bulb_2900")
    up = (0, 0.42, 0)
    across = (0.3, 0, 0)
    s.light((-4.77, 2.95, 18.94), across, up, (0, 0, -1), warm, important=False, show=True)


def _cart(s: Scene) -> None:
    x, z, yaw = -1.25, 0.55, 14.0
    sin, cos = math.sin(math.radians(yaw)), math.cos(math.radians(yaw))
    s.box(WOOD, (x, 0.62, z), (0.75, 0.03, 0.42), "oak/oak_dark", yaw=yaw)
    for side in (-1, 1):
        wheel(s, (x + side * 0.46 * sin, 0.36, z + side * 0.46 * cos), 0.34, yaw)
        shaft = (x + 1.05 + side * 0.08, 0.66, z - 0.27 + side * 0.3)
        s.rod(WOOD, shaft, (0.02, 0.42), "oak/oak_dark", roll=84, yaw=yaw)
    s.box(WOOD, (x + 0.55, 0.32, z - 0.1), (0.03, 0.3, 0.03), "oak_dark")
    crate(s, (x - 0.38, 0.65, z + 0.08), yaw)
    crate(s, (x + 0.30, 0.65, z - 0.1), yaw)
    crate(s, (x - 0.36, 0.85, z + 0.08), 18)


def _goods(s: Scene) -> None:
    """A churn, sacks and a crate by the wall."""
    s.rod(STEEL, (1.75, 0.32, 0.55), (0.17, 0.32), "steel")
    s.rod(STEEL, (1.75, 0.72, 0.55), (0.09, 0.10), "steel")
    s.rod(STEEL, (1.75, 0.83, 0.55), (0.11, 0.02), "steel")
    standing_sack(s, (1.85, 0, 1.15))
    standing_sack(s, (1.72, 0, 1.5))
    crate(s, (1.72, 0, -0.25), 85)


def yard() -> Scene:
    """The yard, with a man who carries a crate to the cart."""
    s = Scene("yard", _VIEW, 2.4, (0.07, 0.075, 0.085))
    s.key_card = KeyCard((0.20, 1.2, 1.0), (-0.15, 0.35, -0.92))
    _sky(s)
    _round_about(s)
    _gate(s)
    _bakery(s)
    _cart(s)
    _goods(s)
    yaw = 28.0
    clothes = Clothes(
        "skin_3", "grey_wool", apron="apron", hair="hair_dark", cap="grey_wool", sleeves=0.9
    )
    hands = ((-0.20, 1.06, -0.36), (0.20, 1.06, -0.36))
    figure(s, clothes, Pose((0.55, 0, 1.7), yaw, 1.76, 30, 0.25, hands=hands))
    away = 0.46 * np.array((math.sin(math.radians(yaw)), 0.0, math.cos(math.radians(yaw))))
    crate(s, (0.55 - away[0], 1.03, 1.7 - away[2]), yaw)
    return s


def walker_box(seconds: float) -> Sequence[Point]:
    """World points round the walker, for finding where it is seen."""
    x, _, z = _walker_at(seconds)
    return [(x + dx, y, z + dz) for dx in (-0.5, 0.5) for y in (-0.05, 1.85) for dz in (-0.5, 0.5)]


def _walker_at(seconds: float) -> tuple[float, float, float]:
    """Someone comes out from behind the wall at the right and crosses before the gate."""
    return 0.55 - 1.15 * seconds, 0.0, 7.4


def add_walker(s: Scene, seconds: float) -> None:
    """Add the walker as it is at a time."""
    at = _walker_at(seconds)
    clothes = Clothes(
        "skin_4", "cotton_red", trousers="grey_wool", hair="hair_brown", cap="linen", sleeves=1
    )
    phase = 2.0 * math.pi * (1.15 * seconds) / _STEP
    figure(s, clothes, Pose(at, 90, 1.68, 0, 0.1, 0.04, stride=phase))
