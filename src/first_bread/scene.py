"""A place under construction: shapes, lamps and a camera, handed to the renderer as tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from first_bread.records import (
    BOX,
    CYLINDER,
    ELLIPSOID,
    EVEN,
    INHERIT,
    LAMP,
    LIGHT,
    PART,
    PLAIN,
    SHAPE,
    SOFT,
    STEADY,
    Table,
    World,
)
from first_bread.reflectances import LAMP as LAMP_COLOUR
from first_bread.reflectances import REFLECTANCE, ROW
from first_bread.tree import build_tree

Point = Sequence[float] | npt.NDArray[np.float64]
Array = npt.NDArray[np.float64]
_BEVEL = 0.005
_BLEND = 0.03


@dataclass(frozen=True, slots=True)
class View:
    """Where a camera stands: metres, the horizontal angle in degrees, the focus distance."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    angle: float
    focus: float
    aperture: float = 0.020


@dataclass(frozen=True, slots=True)
class Capsule:
    """One part of a soft shape: two ends, two radii, a reflectance ("colour/stripe")."""

    a: Point
    radius_a: float
    b: Point
    radius_b: float
    colour: str
    surface: int = INHERIT
    blend: float = _BLEND


@dataclass(frozen=True, slots=True)
class KeyCard:
    """Where an 18 % card would stand to measure the key light, and which way it would face."""

    at: tuple[float, float, float]
    normal: tuple[float, float, float]


def turned(yaw: float, pitch: float, roll: float) -> Array:
    """Rotation from a shape's own axes to the world; degrees, roll first."""
    y, p, q = np.radians((yaw, pitch, roll))
    about_y = [[math.cos(y), 0, math.sin(y)], [0, 1, 0], [-math.sin(y), 0, math.cos(y)]]
    about_x = [[1, 0, 0], [0, math.cos(p), -math.sin(p)], [0, math.sin(p), math.cos(p)]]
    about_z = [[math.cos(q), -math.sin(q), 0], [math.sin(q), math.cos(q), 0], [0, 0, 1]]
    rotation: Array = np.array(about_y) @ np.array(about_x) @ np.array(about_z)
    return rotation


class Scene:
    """Collects shapes, lamps and a camera under the light of one place."""

    def __init__(self, light: str, view: View, exposure: float, ambient: Point) -> None:
        self.light_name = light
        self.view = view
        self.exposure = exposure
        self.key_card = KeyCard((0.0, 1.0, 0.0), (0.0, 0.0, -1.0))
        self.sky = np.zeros((6, 3))
        self.sky[5] = ambient
        self.random = np.random.default_rng(sum(map(ord, light)))
        self._shapes: list[Table] = []
        self._parts: list[tuple[float, ...]] = []
        self._lights: list[tuple[float, ...]] = []

    def __len__(self) -> int:
        """The number of shapes so far."""
        return len(self._shapes)

    def lamp_colour(self, name: str) -> Array:
        """Colour of a lamp of luminance one as this place's camera sees it."""
        return np.array(LAMP_COLOUR[self.light_name][name])

    def put(
        self, kind: int, surface: int, at: Point, half: Point, colour: str, **marks: Any
    ) -> None:
        """Add a shape. `colour` is "first" or "first/second"; marks are fields of SHAPE and
        yaw, pitch and roll in degrees."""
        shape = np.zeros((), SHAPE)
        rotation = turned(marks.pop("yaw", 0), marks.pop("pitch", 0), marks.pop("roll", 0))
        first, _, second = colour.partition("/")
        shape["kind"], shape["surface"] = kind, surface
        shape["colour"], shape["second"] = ROW[first], ROW[second or first]
        for names, values in (("x y z", at), ("hx hy hz", half)):
            for name, value in zip(names.split(), values, strict=True):
                shape[name] = value
        for i in range(3):
            for j in range(3):
                shape[f"r{i}{j}"] = rotation[j, i]
        drawn = marks.pop("seed", None)
        shape["seed"] = self.random.uniform(0, 50) if drawn is None else drawn
        shape["bevel"] = _BEVEL
        for name, value in marks.items():
            shape[name] = value
        self._shapes.append(shape)

    def box(self, surface: int, at: Point, half: Point, colour: str, **marks: Any) -> None:
        """Add a box with bevelled edges."""
        self.put(BOX, surface, at, half, colour, **marks)

    def ball(self, surface: int, at: Point, half: Point, colour: str, **marks: Any) -> None:
        """Add an ellipsoid."""
        self.put(ELLIPSOID, surface, at, half, colour, **marks)

    def rod(self, surface: int, at: Point, size: Point, colour: str, **marks: Any) -> None:
        """Add a cylinder about its y axis; `size` is (radius, half its length)."""
        self.put(CYLINDER, surface, at, (size[0], size[1], size[0]), colour, **marks)

    def soft(self, parts: Sequence[Capsule], at: Point, surface: int = PLAIN, **marks: Any) -> None:
        """Add a smooth union of capsules about the point `at`; `squash` flattens it."""
        squash = marks.pop("squash", 1.0)
        marks.setdefault("blend", _BLEND)
        marks["first"], marks["count"] = len(self._parts), len(parts)
        reach = np.zeros(3)
        for part in parts:
            main, _, stripe = part.colour.partition("/")
            codes = (ROW[main], part.surface, ROW[stripe] if stripe else 0)
            self._parts.append((*part.a, part.radius_a, *part.b, part.radius_b, part.blend, *codes))
            for end, radius in ((part.a, part.radius_a), (part.b, part.radius_b)):
                reach = np.maximum(reach, np.abs(np.asarray(end, float)) + radius)
        reach = (reach + marks.get("amplitude", 0.0) + 0.004) * (1.0, squash, 1.0)
        marks["ex"], marks["ey"], marks["ez"] = reach
        colour = parts[0].colour.partition("/")[0]
        self.put(SOFT, surface, at, (1.0, squash, 1.0), colour, **marks)

    def glow(self, kind: int, at: Point, half: Point, radiance: Point, **marks: Any) -> None:
        """Add a shape that shines with its own radiance but lights nothing."""
        red, green, blue = radiance
        colours = {"lamp": 1, "red": red, "green": green, "blue": blue, **marks}
        colours.setdefault("pattern", EVEN)
        self.put(kind, LAMP, at, half, "flour", **colours)

    def light(
        self, at: Point, u: Point, v: Point, normal: Point, radiance: Point, **marks: Any
    ) -> None:
        """Add a rectangular lamp: half sides u and v about `at`, shining along `normal`.

        Marks: `group`, `important` (False: every second sample is enough), `show` (a panel that
        can be seen).
        """
        group = marks.get("group", STEADY)
        half_u, half_v, n = (np.array(vector, float) for vector in (u, v, normal))
        area = 4.0 * float(np.linalg.norm(np.cross(half_u, half_v)))
        important = int(marks.get("important", True))
        self._lights.append(
            (*at, *half_u, *half_v, *n, *radiance, area, important, group, int(not n.any()))
        )
        if marks.get("show", False):
            half = np.abs(half_u) + np.abs(half_v) + np.abs(n) * 0.004
            self.glow(BOX, np.asarray(at) - n * 0.006, half, radiance, group=group)

    def camera(self, aspect: float) -> Array:
        """Eye, right, up, forward and the half angles' tangents, for the renderer."""
        eye = np.array(self.view.eye, float)
        forward = np.array(self.view.target, float) - eye
        forward /= np.linalg.norm(forward)
        right = np.cross((0.0, 1.0, 0.0), forward)
        right /= np.linalg.norm(right)
        reach = math.tan(math.radians(self.view.angle) / 2.0)
        up = np.cross(forward, right)
        return np.array([*eye, *right, *up, *forward, reach, reach / aspect])

    def project(self, at: Point, aspect: float) -> tuple[float, float]:
        """Where a world point is seen, as shares of the picture's width and height."""
        camera = self.camera(aspect)
        away = np.asarray(at, float) - camera[:3]
        x, y, z = camera[3:12].reshape(3, 3) @ away
        return 0.5 + 0.5 * x / (z * camera[12]), 0.5 - 0.5 * y / (z * camera[13])

    def _bounds(self, shapes: Table) -> Array:
        half = np.stack([shapes["hx"], shapes["hy"], shapes["hz"]], 1)
        soft = shapes["kind"] == SOFT
        half[soft] = np.stack([shapes["ex"], shapes["ey"], shapes["ez"]], 1)[soft]
        turn = np.stack([shapes[f"r{i}{j}"] for j in range(3) for i in range(3)], 1)
        reach = np.einsum("nij,nj->ni", np.abs(turn.reshape(-1, 3, 3)), half) + 1e-4
        at = np.stack([shapes["x"], shapes["y"], shapes["z"]], 1)
        return np.hstack([at - reach, at + reach])

    def world(self) -> World:
        """The scene's tables."""
        shapes = np.array(self._shapes, SHAPE)
        return World(
            shapes,
            np.array(self._parts or [(0.0,) * 12], PART),
            build_tree(self._bounds(shapes)),
            np.array(self._lights, LIGHT),
            np.array(list(REFLECTANCE[self.light_name].values())),
            self.sky,
        )
