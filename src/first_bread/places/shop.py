"""The shop in the morning: a window on the left, shelves of bread, a counter, customers."""

from __future__ import annotations

import numpy as np

from first_bread.figure import Clothes, Pose, figure
from first_bread.props import basket, loaf, shaded_lamp, stems
from first_bread.records import (
    BOX,
    CHART,
    CLOTH,
    ELLIPSOID,
    PLAIN,
    PLASTER,
    POSTER,
    SLAB,
    SLATE,
    STEEL,
    STREET,
    TILE,
    WOOD,
)
from first_bread.scene import KeyCard, Scene, View

_WIDE = View((0.35, 1.60, -2.85), (-0.14, 1.27, 0.6), 58, 3.0)
_CLOSE = View((-1.18, 1.30, -1.15), (-2.26, 1.06, -0.14), 46, 1.45)
_TOP = 0.993  # of the counter
GREY_CARD = (0.46, _TOP + 0.012, -0.23)


def _window(s: Scene) -> None:
    daylight = s.lamp_colour("day_5500") * 16
    s.light((-2.58, 1.75, -0.7), (0, 0, 1.15), (0, 0.85, 0), (1, 0, 0), daylight)
    street = s.lamp_colour("sky_9000") * 6
    s.glow(BOX, (-2.62, 1.75, -0.7), (0.004, 0.9, 1.2), street, pattern=STREET)
    sky = s.lamp_colour("sky_9000") * 1.6
    s.light((-1.2, 2.75, -2.6), (1.0, 0, 0), (0, 0.5, 0.4), (0, -0.62, 0.78), sky)
    for z in (-1.85, -1.28, -0.7, -0.12, 0.45):
        s.box(WOOD, (-2.52, 1.75, z), (0.03, 0.9, 0.022), "paint_green")
    for y in (0.88, 1.75, 2.2, 2.62):
        s.box(WOOD, (-2.52, y, -0.7), (0.035, 0.022, 1.2), "paint_green")
    s.box(PLASTER, (-2.66, 0.4, 0), (0.05, 0.5, 4), "plaster")
    s.box(PLASTER, (-2.66, 2.9, 0), (0.05, 0.28, 4), "plaster")
    s.box(PLASTER, (-2.66, 1.5, 1.4), (0.05, 1.5, 0.9), "plaster")
    s.box(WOOD, (-2.3, 0.86, -0.7), (0.3, 0.02, 1.25), "oak/oak_dark")
    loaf(s, (-2.25, 0.88, -0.2), "round", 20)
    loaf(s, (-2.3, 0.88, 0.2), "long", 60)


def _room(s: Scene) -> None:
    s.box(SLAB, (0, -0.02, 0), (5, 0.02, 5), "cobble/slate")
    s.box(PLASTER, (0, 2.95, 0), (5, 0.02, 5), "paint_white")
    s.box(TILE, (0, 0.9, 2.15), (5, 1.3, 0.05), "tile_white/tile_blue")
    s.box(PLASTER, (0, 2.6, 2.15), (5, 0.4, 0.055), "paint_green")
    s.box(PLASTER, (3.2, 1.5, 0), (0.05, 1.5, 4), "plaster")
    s.box(SLATE, (-1.98, 1.72, 2.08), (0.30, 0.40, 0.014), "slate")
    s.box(WOOD, (-1.98, 1.72, 2.085), (0.325, 0.425, 0.012), "oak/oak_dark")
    for x in (-0.75, 1.15):
        shaded_lamp(s, (x, 2.13, 0.6), 0.41, 0.13, 0.09)
        s.rod(PLAIN, (x, 2.16, 0.6), (0.13, 0.06), "tile_green")
        s.glow(ELLIPSOID, (x, 2.10, 0.6), (0.045, 0.045, 0.045), (9, 5.4, 2.0))
    # Two prints without words on the wall beside the window.
    for z, inks in ((0.95, "linen/cotton_red"), (1.62, "flour/tile_blue")):
        sheet = (0.23, 0.32, 0.004)
        s.box(POSTER, (-2.603, 1.62, z), sheet, inks, yaw=-90, seed=z)
        frame = (0.25, 0.34, 0.003)
        s.box(WOOD, (-2.608, 1.62, z), frame, "walnut/oak_dark", yaw=-90)


def _shelves(s: Scene) -> None:
    random = s.random
    step = {"long": 0.21, "round": 0.28, "tin": 0.19}
    for shelf, y in enumerate((1.12, 1.52, 1.92)):
        s.box(WOOD, (0.35, y, 1.93), (1.85, 0.018, 0.19), "oak_dark/walnut")
        x = -1.38
        while x < 2.1:
            if shelf:
                kind = ("long", "round", "tin", "tin")[random.integers(0, 4 if y < 1.9 else 3)]
            else:
                kind = ("long", "round", "tin")[int((x + 1.4) * 1.6) % 3]
            yaw = {
                "long": 80 + random.uniform(-15, 15),
                "round": random.uniform(0, 90),
                "tin": 84 + random.uniform(-8, 8),
            }[kind]
            if random.uniform() > 0.1:
                at = (x, y + 0.018, 1.92 + random.uniform(-0.03, 0.02))
                loaf(s, at, kind, yaw, random.uniform(0.95, 1.12))
            x += step[kind]
    for x in (-1.5, 0.35, 2.2):
        s.box(WOOD, (x, 1.5, 1.95), (0.018, 0.62, 0.20), "walnut/oak_dark")


def _counter(s: Scene) -> None:
    s.box(WOOD, (0.45, 0.965, 0.05), (1.95, 0.028, 0.42), "oak/oak_dark", bevel=0.008)
    s.box(WOOD, (0.45, 0.47, 0.08), (1.90, 0.47, 0.36), "paint_green")
    for x in np.arange(-1.35, 2.3, 0.37):
        s.box(WOOD, (x, 0.47, -0.29), (0.012, 0.45, 0.01), "paint_green")
    t = _TOP
    basket(s, (-1.05, t, 0.08), 0.23, 0.075)
    rolls = ((-1.16, 0.02, 20), (-0.96, 0.15, 70), (-0.98, -0.03, 120), (-1.13, 0.2, 95))
    for x, z, yaw in rolls:
        loaf(s, (x, t + 0.05, z), "roll", yaw, 1.25)
    for x, z in ((-1.07, 0.08), (-1.0, 0.03)):
        loaf(s, (x, t + 0.11, z), "roll", 40, 1.2)
    board = (0.26, 0.014, 0.16)
    s.box(WOOD, (-0.38, t + 0.014, -0.06), board, "walnut/oak_dark", yaw=8, bevel=0.006)
    loaf(s, (-0.46, t + 0.028, -0.04), "long", 28, 1.15)
    loaf(s, (-0.24, t + 0.028, 0.0), "round", 10, 0.92)
    for i in range(5):
        at = (0.62 + 0.055 * i, t + 0.02 + 0.03 * (i % 2), 0.12 + 0.015 * i)
        loaf(s, at, "stick", 68 + 4 * i, 0.95)
    s.box(PLAIN, (0.78, t + 0.03, 0.14), (0.2, 0.03, 0.14), "kraft", yaw=-18)
    basket(s, (1.42, t, 0.1), 0.21, 0.09)
    for x, z, yaw in ((1.36, 0.05, 10), (1.5, 0.16, 70)):
        loaf(s, (x, t + 0.1, z), "round", yaw, 0.9)
    s.rod(STEEL, (-0.70, t + 0.06, 0.22), (0.05, 0.06), "steel")
    s.rod(PLAIN, (0.27, t + 0.1, 0.3), (0.055, 0.10), "tile_blue")
    stems(s, (0.27, t + 0.19, 0.3), 9, "mustard", 0.05, 0.16)


def _charts(s: Scene) -> None:
    """A chart of 24 patches and a grey card by the till, tilted to the camera."""
    at = (0.20, _TOP + 0.048, -0.22)
    s.box(CHART, at, (0.135, 0.004, 0.09), "soot", yaw=-6, pitch=-30)
    s.box(PLAIN, GREY_CARD, (0.085, 0.003, 0.09), "grey18", yaw=9, pitch=-14)


def _people(s: Scene) -> None:
    customer = Clothes("skin_1", "mustard/linen", hair="hair_grey", sleeves=1)
    hands = ((-0.2, 1.12, -0.32), (0.3, 0.8, -0.1))
    figure(s, customer, Pose((1.02, 0, -0.82), 205, 1.70, -24, hands=hands))
    other = Clothes("skin_6", "cotton_red/grey_wool", hair="hair_dark", sleeves=1, long_hair=True)
    figure(s, other, Pose((-1.12, 0, -0.66), 148, 1.64, 18))


def _still_life(s: Scene) -> None:
    """Loaves on a board on the sill, ears of corn in a jug, a copper cup."""
    t = 0.88
    s.box(CLOTH, (-2.22, t + 0.006, -0.28), (0.22, 0.006, 0.34), "linen", yaw=8)
    s.box(WOOD, (-2.22, t + 0.026, -0.30), (0.17, 0.014, 0.27), "walnut/oak_dark", yaw=8)
    loaf(s, (-2.24, t + 0.04, -0.40), "long", 62, 1.1)
    loaf(s, (-2.2, t + 0.04, -0.17), "round", 20, 1.0)
    loaf(s, (-2.22, t + 0.13, -0.30), "long", 100, 0.95)
    s.rod(PLAIN, (-2.3, t + 0.11, 0.16), (0.07, 0.11), "tile_blue")
    s.rod(STEEL, (-2.05, t + 0.05, -0.72), (0.05, 0.05), "copper")
    stems(s, (-2.3, t + 0.20, 0.16), 12, "crust_gold", 0.085, 0.22)
    for x, z in ((-2.0, -0.05), (-1.98, 0.12)):
        loaf(s, (x, t, z), "roll", 40 * x, 1.2)


def _shop(view: View) -> Scene:
    s = Scene("shop", view, 1.0, (0.17, 0.175, 0.19))
    s.key_card = KeyCard((0.10, _TOP + 0.15, -0.20), (-0.5, 0.35, -0.79))
    _window(s)
    _room(s)
    _shelves(s)
    _counter(s)
    _charts(s)
    clothes = Clothes("skin_4", "cotton_blue", apron="apron", hair="hair_dark", sleeves=0.2)
    hands = ((-0.22, 1.06, -0.36), (0.16, 1.08, -0.42))
    figure(s, clothes, Pose((0.02, 0.06, 0.78), 14, 1.72, 26, 0.22, hands=hands))
    return s


def shop() -> Scene:
    """The counter, the woman behind it and two customers from behind."""
    s = _shop(_WIDE)
    _people(s)
    return s


def shop_close() -> Scene:
    """Bread on the window sill."""
    s = _shop(_CLOSE)
    s.key_card = KeyCard((-2.05, 1.05, -0.30), (0.45, 0.5, -0.74))
    _still_life(s)
    return s
