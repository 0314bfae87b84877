"""Renders a place once: picture, firelight, depth, and the walker who crosses the yard."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from first_bread.lens import bloom, depth_of_field
from first_bread.light import gather_light, light_at, smooth_light
from first_bread.places.oven import oven
from first_bread.places.prep import prep, prep_close
from first_bread.places.shop import shop, shop_close
from first_bread.places.yard import add_walker, walker_box, yard
from first_bread.records import World
from first_bread.scene import Scene
from first_bread.shade import shade
from first_bread.tree import joined

Picture = npt.NDArray[np.float32]
Array = npt.NDArray[np.float64]
Window = tuple[int, int, int, int, int, int]
_COARSE = 4  # the first pass has a pixel for 4 x 4 of the second
_WALK_RATE = 25
_EVERYTHING = -1  # the sky too
_CARD_SAMPLES = 1024


@dataclass(frozen=True, slots=True)
class Place:
    """How one view of a place is rendered; `samples` of light a point."""

    build: Callable[[], Scene]
    samples: int = 10
    walked: bool = False


PLACES = {
    "oven": Place(oven),
    "prep": Place(prep),
    "prep_close": Place(prep_close, 9),
    "yard": Place(yard, walked=True),
    "shop": Place(shop),
    "shop_close": Place(shop_close, 9),
}


@dataclass(frozen=True, slots=True)
class Still:
    """A rendered view: linear BT.2020, 0.18 = grey card.

    `picture` (rows, columns, 3) holds the steady light, `fire` the same of a fire (or one pixel of
    black), `depth` the inverse distance in 1/m, `focal` the focal length in pixels. `walk` holds
    the corners (left, top) and the pictures (rows, columns, 4; premultiplied, last channel cover)
    of a walker at 25 frames a second. `card` is the light of an 18 % card in the key light.
    """

    picture: Picture
    fire: Picture
    depth: Picture
    focal: float
    card: tuple[float, float, float]
    walk: list[tuple[int, int, Picture]]

    def save(self, path: Path) -> None:
        """Write the still to a file of NumPy arrays, in half precision."""
        arrays = {"picture": self.picture, "fire": self.fire, "depth": self.depth}
        halves = {name: array.astype(np.float16) for name, array in arrays.items()}
        corners = np.array([(x, y) for x, y, _ in self.walk]).reshape(-1, 2)
        sprites = {f"walk{i}": sprite for i, (_, _, sprite) in enumerate(self.walk)}
        with path.open("wb") as file:
            np.savez(
                file,
                allow_pickle=False,
                focal=self.focal,
                card=self.card,
                corners=corners,
                **halves,
                **sprites,
            )

    @classmethod
    def load(cls, path: Path) -> Still:
        """Read a still that was saved."""
        with np.load(path) as file:
            corners = file["corners"]
            walk = [(int(x), int(y), file[f"walk{i}"]) for i, (x, y) in enumerate(corners)]
            picture, fire, depth = (
                file[name].astype(np.float32) for name in ("picture", "fire", "depth")
            )
            red, green, blue = (float(value) for value in file["card"])
            return cls(picture, fire, depth, float(file["focal"]), (red, green, blue), walk)


def _render(
    world: World, camera: Array, window: Window, samples: int, first_own: int
) -> tuple[Picture, Picture, Picture]:
    """Render a part of a picture: steady light and cover, a fire's light, inverse distance.

    `window` is left, top, columns and rows of the part, width and height of the whole.
    """
    left, top, w, h, width, height = window
    rows, columns = max(1, h // _COARSE), max(1, w // _COARSE)
    points = np.zeros((rows, columns, 7), np.float32)
    light = np.zeros((rows, columns, 9), np.float32)
    coarse = (left // _COARSE, top // _COARSE, width // _COARSE, height // _COARSE)
    gather_light(world, camera, coarse, samples, first_own, points, light)
    for step in (1, 2, 4):
        smoothed = np.zeros_like(light)
        smooth_light(points, light, smoothed, step)
        light = smoothed
    steady = np.empty((h, w, 4), np.float32)
    fire = np.empty((h, w, 3), np.float32)
    depth = np.empty((h, w), np.float32)
    shapes = np.empty((h, w), np.int32)
    planes = (steady, fire, depth, shapes)
    shade(world, camera, (left, top, width, height), first_own, points, light, planes)
    return steady, fire, depth


def _walk(
    scene: Scene, world: World, size: tuple[int, int], samples: int, seconds: float
) -> list[tuple[int, int, Picture]]:
    """The walker's picture at every 1/25 s."""
    camera = scene.camera(size[0] / size[1])
    frames = []
    for n in range(round(seconds * _WALK_RATE) + 1):
        corners = [scene.project(p, size[0] / size[1]) for p in walker_box(n / _WALK_RATE)]
        spots = np.clip(corners, 0.0, 1.0) * size
        left, top = (int(v) // _COARSE * _COARSE for v in spots.min(0))
        columns, rows = (int(v) for v in spots.max(0) - (left, top))
        if min(columns, rows) < _COARSE:
            continue
        guest = Scene(scene.light_name, scene.view, scene.exposure, (0.0, 0.0, 0.0))
        add_walker(guest, n / _WALK_RATE)
        both = joined(world, guest.world())
        window = (left, top, columns, rows, *size)
        sprite, _, _ = _render(both, camera, window, samples, len(world.shapes))
        sprite[..., :3] *= scene.exposure
        frames.append((left, top, sprite))
    return frames


def _card_light(scene: Scene, world: World) -> tuple[float, float, float]:
    """Light of an 18 % card at the key place."""
    at, normal = (np.array(v, float) for v in (scene.key_card.at, scene.key_card.normal))
    falling = np.add(*light_at(world, at, normal / np.linalg.norm(normal), _CARD_SAMPLES))
    red, green, blue = (float(v) for v in falling * 0.18 * scene.exposure)
    return red, green, blue


def make_still(name: str, size: tuple[int, int], seconds: float = 0.0) -> Still:
    """Render the place `name` at (width, height); `seconds` of walking where someone walks."""
    place = PLACES[name]
    scene = place.build()
    world = scene.world()
    camera = scene.camera(size[0] / size[1])
    steady, fire, depth = _render(world, camera, (0, 0, *size, *size), place.samples, _EVERYTHING)
    view, gain = scene.view, np.float32(scene.exposure)
    picture = np.ascontiguousarray(steady[..., :3])
    picture = bloom(depth_of_field(picture, depth, view.focus, view.aperture)) * gain
    if fire.any():
        fire = bloom(depth_of_field(fire, depth, view.focus, view.aperture), 0.06) * gain
    else:
        fire = np.zeros((1, 1, 3), np.float32)
    focal = size[0] / 2.0 / np.tan(np.radians(view.angle) / 2.0)
    walked = place.walked and seconds > 0.0
    walk = _walk(scene, world, size, place.samples, seconds) if walked else []
    return Still(picture, fire, depth, float(focal), _card_light(scene, world), walk)
