"""The prep room: a floured bench under LED tubes, tiled walls, shelves of sacks and tins."""

from __future__ import annotations

import math

from first_bread.figure import Clothes, Pose, figure
from first_bread.props import basket, dough_ball, sack
from first_bread.records import (
    CLOTH,
    DOUGH,
    PLAIN,
    PLASTER,
    POWDER,
    SLAB,
    STEEL,
    TILE,
    WOOD,
)
from first_bread.scene import Capsule, KeyCard, Scene, View

_WIDE = View((-0.12, 1.74, -2.0), (0.0, 1.12, 0.75), 56, 2.15)
_CLOSE = View((-1.62, 1.42, -0.86), (-0.92, 0.93, 0.02), 50, 0.98)
_TOP = 0.90  # of the bench


def _room(s: Scene) -> None:
    tube = s.lamp_colour("led_4100")
    down = (0, -1, 0)
    s.light((-0.7, 2.72, 0.2), (0.9, 0, 0), (0, 0, 0.07), down, tube * 48, show=True)
    s.light((1.2, 2.72, 1.3), (0.7, 0, 0), (0, 0, 0.07), down, tube * 26, show=True)
    s.light((-2.4, 1.9, -1.8), (0, 0, 0.5), (0, 0.5, 0), (0.9, 0, 0.43), tube * 3.5)
    s.box(TILE, (0, 0.85, 2.3), (4, 0.9, 0.05), "tile_white/mortar")
    s.box(TILE, (0, 1.80, 2.3), (4, 0.05, 0.052), "tile_green")
    s.box(PLASTER, (0, 2.5, 2.3), (4, 0.65, 0.05), "paint_green/plaster")
    s.box(TILE, (-2.3, 0.85, 0), (0.05, 0.9, 4), "tile_white/mortar")
    s.box(PLASTER, (-2.3, 2.5, 0), (0.05, 0.8, 4), "paint_white/plaster")
    s.box(PLASTER, (2.5, 1.5, 0), (0.05, 1.5, 4), "plaster/mortar")
    s.box(SLAB, (0, -0.02, 0), (5, 0.02, 5), "brick_dark/cobble", flour=1.0)
    s.box(PLASTER, (0, 2.8, 0), (5, 0.02, 5), "paint_white")
    # A doorway into the unlit store, right behind the shelves.
    s.box(WOOD, (2.28, 1.05, 2.24), (0.30, 1.05, 0.02), "walnut/soot")
    s.box(WOOD, (1.98, 1.05, 2.22), (0.04, 1.07, 0.05), "oak_dark/walnut")


def _bench(s: Scene) -> None:
    floured = {"flour_radius": 0.55, "flour_x": 0.05, "flour_z": 0.05, "bevel": 0.008}
    s.box(WOOD, (0, _TOP - 0.03, 0.0), (1.62, 0.03, 0.52), "oak/oak_dark", **floured)
    for x in (-1.5, 1.5):
        s.box(WOOD, (x, 0.42, -0.4), (0.05, 0.42, 0.05), "oak_dark")
    s.box(CLOTH, (-1.35, _TOP + 0.012, 0.34), (0.2, 0.01, 0.12), "linen", yaw=12)
    random = s.random
    for i in range(4):
        for j in range(3):
            x = -1.25 + 0.19 * i + 0.02 * random.uniform(-1, 1)
            z = -0.26 + 0.2 * j + 0.02 * random.uniform(-1, 1)
            piece = Capsule((-0.008, 0, 0), 0.078, (0.01, 0, 0.004), 0.078, "dough")
            marks = {"squash": 0.62 + 0.07 * random.uniform(), "yaw": random.uniform(0, 360)}
            s.soft([piece], (x, _TOP + 0.044, z), DOUGH, amplitude=0.026, frequency=9, **marks)


def _work(s: Scene) -> None:
    """The piece that is kneaded, a heap of flour, a pin, a scraper."""
    lump = [
        Capsule((-0.12, 0, 0), 0.07, (0.10, 0.0, 0.02), 0.085, "dough", blend=0.05),
        Capsule((-0.03, 0.045, -0.02), 0.06, (0.08, 0.035, 0.03), 0.055, "dough", blend=0.06),
        Capsule((-0.13, 0.0, 0.05), 0.055, (-0.05, -0.01, -0.09), 0.06, "dough", blend=0.06),
    ]
    marks = {"blend": 0.07, "amplitude": 0.018, "frequency": 13, "squash": 0.85}
    s.soft(lump, (0.13, _TOP + 0.058, 0.07), DOUGH, **marks)
    heap = [
        Capsule((0, 0, 0), 0.12, (0.05, 0, 0.02), 0.10, "flour", blend=0.05),
        Capsule((0.10, -0.02, -0.04), 0.08, (-0.1, -0.02, 0.05), 0.09, "flour", blend=0.05),
    ]
    marks = {"blend": 0.08, "amplitude": 0.03, "frequency": 18, "squash": 0.42}
    s.soft(heap, (0.62, _TOP - 0.005, -0.22), POWDER, **marks)
    cos, sin = math.cos(math.radians(24)), math.sin(math.radians(24))
    x, y, z = pin = (-0.30, _TOP + 0.032, -0.36)
    s.rod(WOOD, pin, (0.031, 0.21), "oak/oak_dark", roll=90, yaw=24)
    for side in (-0.245, 0.245):
        grip = (x + side * cos, y, z - side * sin)
        s.rod(WOOD, grip, (0.013, 0.05), "oak_dark/walnut", roll=90, yaw=24)
    blade = (0.34, _TOP + 0.02, -0.34)
    s.box(STEEL, blade, (0.075, 0.0015, 0.055), "steel", yaw=-30, pitch=8)
    s.rod(WOOD, (0.39, _TOP + 0.026, -0.315), (0.012, 0.075), "walnut/oak_dark", roll=90, yaw=60)


def _tools(s: Scene) -> None:
    """Bowl, scales and jars at the right end; a proofing basket at the left."""
    t = _TOP
    s.rod(STEEL, (1.12, t + 0.085, 0.05), (0.19, 0.085), "steel", open_top=1)
    s.rod(STEEL, (1.12, t + 0.085, 0.05), (0.184, 0.084), "steel", open_top=1)
    s.ball(POWDER, (1.12, t + 0.10, 0.05), (0.18, 0.045, 0.18), "flour")
    s.box(STEEL, (1.02, t + 0.045, 0.38), (0.11, 0.045, 0.09), "iron", bevel=0.012)
    s.box(STEEL, (1.02, t + 0.10, 0.38), (0.125, 0.006, 0.105), "steel")
    s.rod(PLAIN, (0.70, t + 0.065, 0.36), (0.05, 0.065), "tile_blue")
    s.rod(PLAIN, (0.70, t + 0.128, 0.36), (0.053, 0.006), "paint_white")
    s.rod(WOOD, (0.84, t + 0.05, 0.40), (0.055, 0.05), "oak/oak_dark")
    s.rod(WOOD, (0.84, t + 0.105, 0.40), (0.058, 0.008), "walnut")
    basket(s, (-0.62, t, 0.36), 0.15, 0.05)
    dough_ball(s, (-0.62, t + 0.07, 0.36))


_SACKS = ((-1.75, "linen"), (-1.32, "jute"), (-0.90, "kraft"), (1.25, "kraft"), (1.72, "linen"))
_JARS = (
    (-1.85, 0.085, 0.12, "steel"),
    (-1.62, 0.10, 0.09, "copper"),
    (-1.36, 0.07, 0.15, "steel"),
    (-1.1, 0.11, 0.07, "tile_blue"),
    (-0.85, 0.08, 0.1, "steel"),
    (1.1, 0.10, 0.1, "steel"),
    (1.36, 0.075, 0.13, "copper"),
    (1.62, 0.1, 0.08, "tile_white"),
    (1.9, 0.08, 0.12, "steel"),
)


def _shelves(s: Scene) -> None:
    for x in (-2.0, -0.62, 0.95, 2.1):
        for z in (1.75, 2.15):
            s.rod(STEEL, (x, 1.1, z), (0.014, 1.1), "steel")
    for y in (0.62, 1.12, 1.62):
        s.box(STEEL, (-1.31, y, 1.95), (0.70, 0.012, 0.21), "steel")
        s.box(STEEL, (1.52, y, 1.95), (0.60, 0.012, 0.21), "steel")
    for x, colour in _SACKS:
        sack(s, (x, 0.63, 1.92), colour, 8 * s.random.uniform(-1, 1))
    for x, radius, half, colour in _JARS:
        kind = STEEL if colour in ("steel", "copper") else PLAIN
        s.rod(kind, (x, 1.63 + half, 1.95), (radius, half), colour)
    for x in (-1.75, -1.28, -0.85):
        basket(s, (x, 1.13, 1.92), 0.16, 0.06)
        s.ball(CLOTH, (x, 1.22, 1.92), (0.13, 0.05, 0.13), "linen")
    for x in (1.15, 1.4, 1.65, 1.88):
        s.box(STEEL, (x, 1.20, 1.95), (0.09, 0.07, 0.15), "iron", bevel=0.012)
    for i, x in enumerate((-0.35, -0.12, 0.12, 0.36, 0.6)):
        handle = "steel" if i % 2 else "walnut"
        s.box(STEEL, (x, 1.62 - 0.02 * i, 2.24), (0.012, 0.17, 0.006), handle)
        bowl = (0.05 + 0.01 * (i % 3), 0.07, 0.012)
        s.ball(STEEL, (x, 1.43 - 0.03 * i, 2.23), bowl, "steel")
    s.box(STEEL, (0.12, 1.80, 2.235), (0.62, 0.012, 0.012), "steel")


def _prep(view: View) -> Scene:
    s = Scene("prep", view, 1.15, (0.12, 0.123, 0.12))
    s.key_card = KeyCard((-0.25, _TOP + 0.10, 0.05), (0.0, 0.85, -0.53))
    _room(s)
    _bench(s)
    _work(s)
    _tools(s)
    _shelves(s)
    clothes = Clothes(
        "skin_5", "paint_white", apron="denim", hair="hair_dark", cap="linen", sleeves=0.2
    )
    hands = ((-0.10, 0.985, -0.58), (0.20, 0.985, -0.60))
    figure(s, clothes, Pose((0.10, 0, 0.78), -3, 1.74, -24, 0.50, 0.30, hands))
    return s


def prep() -> Scene:
    """The bench from the front, with the baker who kneads."""
    return _prep(_WIDE)


def prep_close() -> Scene:
    """Pieces of dough at the left end of the bench."""
    s = _prep(_CLOSE)
    s.key_card = KeyCard((-0.95, _TOP + 0.09, -0.10), (-0.3, 0.8, -0.52))
    return s
