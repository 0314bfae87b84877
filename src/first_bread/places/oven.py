"""The oven room at night: a wood-fired oven, one hanging bulb, a rack of bread."""

from __future__ import annotations

import math

import numpy as np

from first_bread.figure import Clothes, Pose, figure, own_point
from first_bread.props import basket, dough_ball, loaf, shaded_lamp
from first_bread.records import (
    BOX,
    BRICK,
    ELLIPSOID,
    FIRE,
    FLICKERING,
    PLASTER,
    SLAB,
    STEEL,
    WOOD,
)
from first_bread.scene import KeyCard, Scene, View

_MIDDLE = 0.55  # of the oven
_HEARTH = 0.98
_VIEW = View((0.15, 1.50, -2.75), (0.10, 1.20, 1.2), 56, 3.1)
_BULB = (-0.86, 1.97, 0.75)


def _front(s: Scene) -> None:
    """Two brick arches, one behind the other, and what is fixed to them."""
    for z, half, spring, deep, colour in (
        (1.45, 0.52, 0.16, 0.06, "brick/brick_dark"),
        (1.62, 0.46, 0.15, 0.05, "brick_dark/soot"),
    ):
        arch = {"arch_half": half, "arch_floor": _HEARTH - 1.5, "arch_spring": spring}
        s.box(BRICK, (_MIDDLE, 1.5, z), (4, 1.5, deep), colour, **arch)
    s.box(SLAB, (_MIDDLE, _HEARTH - 0.055, 1.22), (0.72, 0.035, 0.20), "cobble/slate")
    for side in (-1, 1):
        pier = (_MIDDLE + side * 0.6, 0.46, 1.28)
        s.box(BRICK, pier, (0.12, 0.46, 0.16), "brick_dark/brick")
    s.box(STEEL, (_MIDDLE, 1.86, 1.36), (0.62, 0.015, 0.03), "iron")
    s.box(STEEL, (_MIDDLE - 0.78, 1.25, 1.375), (0.02, 0.3, 0.012), "iron")
    s.box(STEEL, (_MIDDLE + 0.95, 1.22, 1.37), (0.3, 0.27, 0.014), "iron", bevel=0.01)
    for x in (-0.22, 0.22):
        for y in (-0.2, 0.2):
            s.ball(STEEL, (_MIDDLE + 0.95 + x, 1.22 + y, 1.35), (0.014, 0.014, 0.01), "iron")


def _chamber(s: Scene) -> None:
    """The inside of the oven, its fire and the loaves in it."""
    c, h = _MIDDLE, _HEARTH
    s.box(SLAB, (c, h - 0.03, 1.9), (0.8, 0.03, 0.75), "brick_dark/soot")
    s.box(BRICK, (c, 1.35, 2.7), (0.9, 0.5, 0.05), "brick/brick_dark")
    for side in (-1, 1):
        s.box(BRICK, (c + side * 0.75, 1.3, 2.1), (0.05, 0.5, 0.6), "brick/brick_dark")
    s.box(BRICK, (c, 1.58, 2.1), (0.9, 0.05, 0.6), "brick/brick_dark")
    deep, low = s.lamp_colour("glow_1800"), s.lamp_colour("glow_2100")
    fire = {"group": FLICKERING}
    s.light((c + 0.38, 1.08, 2.45), (0.26, 0, 0), (0, 0.09, 0), (0, 0, -1), deep * 30, **fire)
    s.light((c - 0.2, 1.50, 2.0), (0.4, 0, 0), (0, 0, 0.35), (0, -1, 0), low * 5, **fire)
    s.light((c - 0.05, 1.16, 1.36), (0.34, 0, 0), (0, 0.13, 0), (0, 0, -1), deep * 9, **fire)
    flames = (0.30, 0.15, 0.02)
    s.glow(BOX, (c + 0.36, 1.09, 2.6), flames, (17, 6.2, 1.1), group=FLICKERING, pattern=FIRE)
    for i in range(14):
        at = (c + 0.1 + 0.06 * (i % 7), h + 0.03 + 0.02 * s.random.uniform(), 2.28 - 0.1 * (i // 7))
        ember = (9 + 5 * s.random.uniform(), 3.6, 0.7)
        s.glow(ELLIPSOID, at, (0.045, 0.03, 0.04), ember, group=FLICKERING, pattern=FIRE)
    for x, z in ((c - 0.28, 1.78), (c - 0.02, 1.85), (c - 0.22, 2.12)):
        loaf(s, (x, h, z), "round", 30 * x, 0.95, flour=0.6)


def _room(s: Scene) -> None:
    s.box(SLAB, (0, -0.02, 0), (5, 0.02, 6), "cobble/slate", flour=1.0)
    s.box(PLASTER, (-2.3, 1.5, 0), (0.05, 1.6, 6), "plaster/mortar")
    s.box(BRICK, (2.5, 1.5, 0), (0.05, 1.6, 6), "brick/brick_dark")
    s.box(PLASTER, (0, 3.0, 0), (5, 0.02, 6), "plaster/soot")
    for z in (-1.2, 0.1, 1.2):
        s.box(WOOD, (0, 2.84, z), (5, 0.10, 0.09), "walnut/oak_dark")
    x, y, z = _BULB
    shaded_lamp(s, (x, y + 0.025, z), 0.52, 0.19, 0.07)
    s.glow(ELLIPSOID, (x, y + 0.005, z), (0.05, 0.055, 0.05), (18, 17, 15))
    bulb = s.lamp_colour("bulb_2900") * 210
    s.light(_BULB, (0.06, 0, 0), (0, 0, 0.06), (0, -1, 0), bulb)
    far = s.lamp_colour("bulb_2700") * 10
    s.light((1.9, 2.7, -2.2), (0.25, 0, 0), (0, 0, 0.25), (-0.45, -0.8, 0.4), far)


def _rack(s: Scene) -> None:
    """A steel rack of loaves in the left foreground."""
    for x in (-1.72, -0.98):
        for z in (-0.55, 0.0):
            s.rod(STEEL, (x, 0.95, z), (0.014, 0.95), "steel")
    kinds = ("long", "long", "tin", "long", "long")
    for shelf, y in enumerate((0.42, 0.74, 1.06, 1.38, 1.70)):
        s.box(STEEL, (-1.35, y, -0.275), (0.38, 0.010, 0.29), "steel", bevel=0.004)
        s.box(STEEL, (-1.35, y + 0.02, -0.555), (0.38, 0.018, 0.005), "steel")
        for i in range(4):
            at = (-1.63 + 0.19 * i, y + 0.012, -0.38 + 0.03 * s.random.uniform())
            size = 0.9 if shelf in (0, 4) else 0.95
            loaf(s, at, kinds[shelf], 85 + 10 * s.random.uniform(-1, 1), size)


def _table(s: Scene) -> None:
    """A floured table with proofing baskets in the right foreground."""
    s.box(WOOD, (1.55, 0.86, -0.75), (0.62, 0.03, 0.42), "oak/oak_dark", flour_radius=0.5)
    for side in (-1, 1):
        leg = (1.55 + side * 0.55, 0.42, -1.05)
        s.box(WOOD, leg, (0.04, 0.42, 0.04), "oak_dark/walnut")
    for x, z in ((1.25, -0.85), (1.62, -0.6), (1.7, -0.98)):
        basket(s, (x, 0.89, z), 0.14, 0.045)
        dough_ball(s, (x, 0.955, z), 0.115)
    s.rod(STEEL, (2.0, 1.02, -0.55), (0.09, 0.13), "steel")


def _baker(s: Scene) -> None:
    """The baker draws loaves with a peel."""
    handle, tip = np.array((-0.36, 1.13, 0.02)), np.array((0.38, 1.03, 1.55))
    at, yaw, height = (-0.50, 0.0, 0.60), 231.0, 1.76
    grips = (handle + (tip - handle) * share + (0, 0.01, 0) for share in (0.44, 0.16))
    hands = [own_point(at, yaw, grip, height) for grip in grips]
    clothes = Clothes("skin_2", "grey_wool", apron="apron", cap="linen", sleeves=0.2)
    figure(s, clothes, Pose(at, yaw, height, -16, 0.12, 0.10, hands))
    away = tip - handle
    length = float(np.linalg.norm(away))
    turn = math.degrees(math.atan2(away[0], away[2]))
    middle = (handle + tip) / 2.0
    s.rod(WOOD, middle, (0.017, length / 2), "oak/oak_dark", yaw=turn, pitch=90)
    blade = tip + away / length * 0.12
    s.box(WOOD, blade, (0.13, 0.007, 0.17), "oak/oak_dark", yaw=turn)
    loaf(s, blade + np.array((0, 0.005, 0)), "round", 40, 0.92)


def oven() -> Scene:
    """The oven room."""
    s = Scene("oven", _VIEW, 2.15, (0.095, 0.081, 0.064))
    s.key_card = KeyCard((-0.60, 1.25, 0.35), (-0.2, 0.85, -0.48))
    _front(s)
    _chamber(s)
    _room(s)
    _rack(s)
    _table(s)
    _baker(s)
    return s
