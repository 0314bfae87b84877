"""The tables a scene is handed over in: shapes, parts of soft shapes, lamps, tree nodes.

Lengths are metres, y is up. Colours are linear BT.2020 as a camera balanced for the scene's light
sees them. `r00`..`r22` take a direction from the world to the shape's own axes.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

BOX, ELLIPSOID, CYLINDER, SOFT = range(4)

# Surfaces. The flat ones come first: they have relief over the plane of the face that is seen.
PLASTER, TILE, BRICK, WOOD, COBBLE, SLAB, SLATE = range(7)
CRUST, DOUGH, POWDER = range(7, 10)
CLOTH, SACK, SKIN, HAIR, WICKER = range(10, 15)
PLAIN, STEEL, CHART, LEAVES, POSTER, LAMP = range(15, 21)
INHERIT = -1

# What a lamp's own face shows.
EVEN, FIRE, STREET = range(3)
# Groups of light: the fire flickers, so its share of a picture is kept apart.
STEADY, FLICKERING = range(2)

# Rows of the table that describes the sky.
ZENITH, HORIZON, GLOW, GLOW_AT, CLOUD, AMBIENT = range(6)

_KIND = [(name, "i4") for name in ("kind", "surface", "colour", "second")]
_SPACE = [("seed", "f8")]
_SPACE += [(axis, "f8") for axis in ("x", "y", "z", "hx", "hy", "hz")]
_TURN = [(f"r{i}{j}", "f8") for i in range(3) for j in range(3)]
_SOFT = [("first", "i4"), ("count", "i4"), ("blend", "f8"), ("amplitude", "f8")]
_SOFT += [("frequency", "f8"), ("ex", "f8"), ("ey", "f8"), ("ez", "f8")]
_LAMP = [("lamp", "i4"), ("pattern", "i4"), ("group", "i4")]
_LAMP += [("red", "f8"), ("green", "f8"), ("blue", "f8")]
_EXTRA = [("bevel", "f8"), ("arch_half", "f8"), ("arch_floor", "f8"), ("arch_spring", "f8")]
_EXTRA += [("open_top", "i4"), ("slashed", "i4"), ("wet", "f8"), ("flour", "f8")]
_EXTRA += [("flour_x", "f8"), ("flour_z", "f8"), ("flour_radius", "f8")]

SHAPE = np.dtype(
    [*_KIND, *_SPACE, *_TURN, *_SOFT, *_LAMP, *_EXTRA],
    align=True,
)
PART = np.dtype(
    [(name, "f8") for name in ("ax", "ay", "az", "ra", "bx", "by", "bz", "rb", "blend")]
    + [("colour", "i4"), ("surface", "i4"), ("stripe", "i4")],
    align=True,
)
LIGHT = np.dtype(
    [(f"{vector}{axis}", "f8") for vector in ("at_", "u", "v", "n") for axis in "xyz"]
    + [("red", "f8"), ("green", "f8"), ("blue", "f8"), ("area", "f8")]
    + [("important", "i4"), ("group", "i4"), ("all_round", "i4")],
    align=True,
)
NODE = np.dtype(
    [(name, "f8") for name in ("x0", "y0", "z0", "x1", "y1", "z1")]
    + [("left", "i4"), ("right", "i4"), ("shape", "i4"), ("axis", "i4")],
    align=True,
)

Table = npt.NDArray[Any]


class World(NamedTuple):
    """A scene as compiled code takes it."""

    shapes: Table  # SHAPE
    parts: Table  # PART
    nodes: Table  # NODE
    lights: Table  # LIGHT
    albedo: Table  # (reflectances, 3)
    sky: Table  # (6, 3)
