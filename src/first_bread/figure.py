"""A person, built of smoothly joined capsules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from first_bread.records import CLOTH, HAIR, PLAIN, SKIN
from first_bread.scene import Capsule, Point, Scene

Array = npt.NDArray[np.float64]
_HEIGHT = 1.72  # the measures below are of a person this tall
_HIP = 0.86
_ARM = 0.30
_EYES = 1.582


@dataclass(frozen=True, slots=True)
class Clothes:
    """What a person looks like: names of reflectances; `sleeves` 0.2 rolled up, 1 long."""

    skin: str = "skin_1"
    top: str = "linen"
    trousers: str = "denim"
    hair: str = "hair_brown"
    apron: str = ""
    cap: str = ""
    sleeves: float = 0.45
    long_hair: bool = False


@dataclass(frozen=True, slots=True)
class Pose:
    """How a person stands at `at`: facing -z at yaw 0; degrees, and nod in radians.

    `hands` are two points in the person's own metres (at a height of 1.72 m), left and right as
    seen from behind. `stride` is the phase of a walk in radians, or None for standing.
    """

    at: tuple[float, float, float]
    yaw: float = 0.0
    height: float = _HEIGHT
    turn: float = 0.0
    nod: float = 0.0
    lean: float = 0.0
    hands: Sequence[Point] = ()
    stride: float | None = None


def own_point(at: Point, yaw: float, p: Point, height: float = _HEIGHT) -> Point:
    """A world point in the metres of a person who stands at `at`, turned by yaw."""
    a = math.radians(yaw)
    cos, sin = math.cos(a), math.sin(a)
    x, z = p[0] - at[0], p[2] - at[2]
    k = _HEIGHT / height
    return (cos * x - sin * z) * k, (p[1] - at[1]) * k, (sin * x + cos * z) * k


@dataclass(slots=True)
class _Body:
    """The parts of one person, kept as several soft shapes so that their bounds are tight."""

    clothes: Clothes
    pose: Pose
    shapes: dict[str, list[Capsule]] = field(default_factory=dict)

    def _place(self, p: Point) -> Array:
        k = self.pose.height / _HEIGHT
        forward = self.pose.lean * max(0.0, p[1] - 0.9)
        return np.array((p[0] * k, (p[1] - _HIP) * k, (p[2] - forward) * k))

    def part(
        self,
        shape: str,
        ends: tuple[Point, Point],
        radii: tuple[float, float],
        colour: str,
        surface: int = CLOTH,
        blend: float = 0.03,
    ) -> None:
        """Add a capsule in the person's own metres."""
        k = self.pose.height / _HEIGHT
        a, b = (self._place(end) for end in ends)
        made = Capsule(a, radii[0] * k, b, radii[1] * k, colour, surface, blend * k)
        self.shapes.setdefault(shape, []).append(made)

    def head(
        self,
        a: Point,
        ra: float,
        b: Point,
        rb: float,
        colour: str,
        surface: int = SKIN,
        blend: float = 0.02,
    ) -> None:
        """Add a capsule of the head, which turns and nods."""
        cos_nod, sin_nod = math.cos(self.pose.nod), math.sin(self.pose.nod)
        turn = math.radians(self.pose.turn)
        ends = []
        for x, y, z in (a, b):
            y, z = y * cos_nod + z * sin_nod, z * cos_nod - y * sin_nod
            x, z = x * math.cos(turn) + z * math.sin(turn), z * math.cos(turn) - x * math.sin(turn)
            ends.append((x, y + _EYES, z - 0.01))
        self.part("head", (ends[0], ends[1]), (ra, rb), colour, surface, blend)


def _leg(body: _Body, side: int) -> None:
    """A leg; in a walk it swings about the hip and bends at the knee."""
    colour = body.clothes.trousers
    swing, bend = 0.0, 0.0
    if body.pose.stride is not None:
        phase = body.pose.stride + (math.pi if side > 0 else 0.0)
        swing = 0.42 * math.sin(phase)
        bend = 0.55 * max(0.0, math.cos(phase)) ** 1.5 + 0.08
    hip = (side * 0.085, 0.90, 0.0)
    knee = (side * 0.10, 0.90 - 0.42 * math.cos(swing), -0.42 * math.sin(swing) + 0.01)
    shin = swing - bend
    ankle = (
        side * 0.10,
        knee[1] - 0.42 * math.cos(shin),
        knee[2] - 0.42 * math.sin(shin) - 0.01,
    )
    body.part("legs", (ankle, knee), (0.055, 0.065), colour)
    body.part("legs", (knee, hip), (0.068, 0.095), colour)
    toe = (ankle[0], ankle[1] - 0.025, ankle[2] - 0.12)
    heel = (ankle[0], ankle[1] - 0.020, ankle[2] + 0.03)
    body.part("legs", (toe, heel), (0.035, 0.042), "rubber", PLAIN)


def _torso(body: _Body, side: int) -> None:
    top, apron = body.clothes.top, body.clothes.apron
    body.part(
        "body", ((side * 0.06, 0.93, 0), (side * 0.085, 1.28, 0)), (0.125, 0.115), top, CLOTH, 0.08
    )
    shoulder = ((side * 0.06, 1.38, 0.015), (side * 0.175, 1.36, 0.01))
    body.part("body", shoulder, (0.075, 0.068), top, CLOTH, 0.08)
    if apron:
        skirt = ((side * 0.085, 0.62, -0.055), (side * 0.075, 1.0, -0.055))
        bib = ((side * 0.06, 1.0, -0.04), (side * 0.045, 1.27, -0.042))
        body.part("body", skirt, (0.085, 0.10), apron, CLOTH, 0.06)
        body.part("body", bib, (0.105, 0.092), apron, CLOTH, 0.06)


def _hand_place(body: _Body, side: int) -> Array:
    if body.pose.hands:
        return np.array(body.pose.hands[0 if side < 0 else 1], float)
    if body.pose.stride is not None:
        phase = body.pose.stride + (0.0 if side > 0 else math.pi)
        return np.array((side * 0.25, 0.84, -0.22 * math.sin(phase) - 0.05))
    return np.array((side * 0.25, 0.82, -0.06))


def _arm(body: _Body, side: int) -> None:
    clothes = body.clothes
    shape = "left" if side < 0 else "right"
    shoulder = np.array((side * 0.20, 1.355, 0.01))
    hand = _hand_place(body, side)
    reach = float(np.linalg.norm(hand - shoulder))
    bend = math.sqrt(max(0.0, _ARM**2 - min(reach / 2.0, 0.29) ** 2))
    elbow = (shoulder + hand) / 2.0 + np.array((side * 0.7, -0.6, 0.45)) / 1.03 * bend
    wrist = hand + (elbow - hand) * 0.12
    body.part("body", (shoulder, elbow), (0.062, 0.048), clothes.top, CLOTH, 0.05)
    covered = (clothes.top, CLOTH)
    bare = (clothes.skin, SKIN)
    colour, surface = covered if clothes.sleeves > 0.4 else bare
    cuff = elbow + (wrist - elbow) * 0.3
    body.part(shape, (elbow, cuff), (0.046, 0.044), colour, surface)
    colour, surface = covered if clothes.sleeves >= 1.0 else bare
    body.part(shape, (elbow + (wrist - elbow) * 0.25, wrist), (0.040, 0.027), colour, surface)
    _fingers(body, shape, side, (elbow, wrist, hand))


def _fingers(body: _Body, shape: str, side: int, arm: tuple[Array, Array, Array]) -> None:
    elbow, wrist, hand = arm
    skin = body.clothes.skin
    towards = (hand - elbow) / (np.linalg.norm(hand - elbow) + 1e-9)
    body.part(shape, (wrist, hand + towards * 0.03), (0.028, 0.036), skin, SKIN)
    for i in range(4):
        across = np.array(((i - 1.5) * 0.019, -0.006, 0.0))
        length = 0.095 - 0.012 * abs(i - 1.4)
        tip = hand + towards * length + across * 1.25 + np.array((0.0, -0.02, 0.0))
        root = hand + towards * 0.04 + across
        body.part(shape, (root, tip), (0.0115, 0.009), skin, SKIN, 0.012)
    root = hand + towards * 0.005 + np.array((-side * 0.02, 0.0, -0.005))
    tip = hand + towards * 0.05 + np.array((-side * 0.05, -0.005, -0.01))
    body.part(shape, (root, tip), (0.014, 0.010), skin, SKIN, 0.015)


def _skull(body: _Body) -> None:
    skin = body.clothes.skin
    body.part("body", ((0, 1.37, 0.01), (0, 1.52, 0.0)), (0.058, 0.050), skin, SKIN, 0.05)
    body.part("head", ((0, 1.47, 0.01), (0, 1.52, 0.0)), (0.052, 0.050), skin, SKIN, 0.05)
    body.head((0, 0.085, 0.008), 0.092, (0, 0.07, -0.012), 0.084, skin, blend=0.05)
    body.head((0, -0.012, -0.030), 0.056, (0, 0.0, -0.02), 0.066, skin, blend=0.05)
    body.head((-0.012, -0.056, -0.066), 0.020, (0.012, -0.056, -0.066), 0.020, skin, blend=0.04)
    body.head((0, 0.048, -0.092), 0.008, (0, 0.014, -0.110), 0.0115, skin, blend=0.025)
    body.head((-0.013, 0.007, -0.099), 0.0075, (0.013, 0.007, -0.099), 0.0075, skin, blend=0.015)


def _features(body: _Body, side: int) -> None:
    """One side of the face: cheek, ear, eye under its lid, brow."""
    skin, hair = body.clothes.skin, body.clothes.hair
    body.head(
        (side * 0.046, 0.008, -0.062), 0.026, (side * 0.052, 0.02, -0.05), 0.026, skin, blend=0.04
    )
    body.head(
        (side * 0.088, 0.05, 0.005), 0.012, (side * 0.092, 0.025, 0.008), 0.010, skin, blend=0.012
    )
    body.head(
        (side * 0.018, 0.064, -0.088),
        0.011,
        (side * 0.052, 0.062, -0.074),
        0.010,
        skin,
        blend=0.025,
    )
    body.head(
        (side * 0.030, 0.0465, -0.0865),
        0.0062,
        (side * 0.037, 0.0465, -0.0845),
        0.0060,
        "hair_dark",
        PLAIN,
        0.003,
    )
    body.head(
        (side * 0.024, 0.0535, -0.0885),
        0.0052,
        (side * 0.043, 0.0525, -0.0835),
        0.0046,
        skin,
        blend=0.004,
    )
    body.head(
        (side * 0.019, 0.073, -0.0975),
        0.0024,
        (side * 0.050, 0.072, -0.0845),
        0.0018,
        hair,
        HAIR,
        0.006,
    )


def _hair(body: _Body) -> None:
    hair, cap = body.clothes.hair, body.clothes.cap
    if cap:
        body.head((0, 0.125, 0.01), 0.088, (0, 0.15, 0.02), 0.080, cap, CLOTH)
        body.head((-0.04, 0.118, -0.074), 0.018, (0.04, 0.118, -0.074), 0.018, cap, CLOTH, 0.03)
        body.head((0, 0.10, 0.045), 0.085, (0, 0.09, 0.05), 0.082, hair, HAIR)
        return
    body.head((0, 0.105, 0.022), 0.098, (0, 0.06, 0.045), 0.090, hair, HAIR)
    body.head((-0.05, 0.135, -0.035), 0.050, (0.05, 0.14, -0.03), 0.050, hair, HAIR, 0.03)
    if body.clothes.long_hair:
        body.head((0, 0.02, 0.075), 0.065, (0, -0.14, 0.085), 0.045, hair, HAIR, 0.05)


def figure(scene: Scene, clothes: Clothes, pose: Pose) -> None:
    """Add a person to a scene."""
    body = _Body(clothes, pose)
    for side in (-1, 1):
        _leg(body, side)
        _torso(body, side)
        _arm(body, side)
    _skull(body)
    for side in (-1, 1):
        _features(body, side)
    body.head(
        (-0.019, -0.0265, -0.0925), 0.0050, (0.019, -0.0265, -0.0925), 0.0050, "lips", blend=0.010
    )
    _hair(body)
    k = pose.height / _HEIGHT
    yaw = math.radians(pose.yaw)
    cos, sin = math.cos(yaw), math.sin(yaw)
    for name, parts in body.shapes.items():
        ends = np.array([end for part in parts for end in (part.a, part.b)])
        x, y, z = middle = (ends.min(0) + ends.max(0)) / 2.0
        moved = [
            Capsule(
                np.asarray(part.a) - middle,
                part.radius_a,
                np.asarray(part.b) - middle,
                part.radius_b,
                part.colour,
                part.surface,
                part.blend,
            )
            for part in parts
        ]
        at = (
            pose.at[0] + cos * x + sin * z,
            pose.at[1] + _HIP * k + y,
            pose.at[2] - sin * x + cos * z,
        )
        marks = {"blend": 0.12 * k, "yaw": pose.yaw, "flour": 0.25 if clothes.apron else 0.0}
        if name in ("body", "legs"):  # creases
            marks |= {"amplitude": 0.016 * k, "frequency": 11.0 / k}
        scene.soft(moved, at, SKIN, **marks)
