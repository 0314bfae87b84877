"""Runs every loop once on next to nothing, so that it is compiled before it is needed.

Three functions, so that two processes can share the work; each leaves what it compiled on disk for
the others. They call the loops with arrays of the kinds that the real callers use.
"""

from __future__ import annotations

import numpy as np

from evenhand.colourmath.encodings import named
from first_bread.camera import Sensor, expose, near_depth, noise_tile
from first_bread.lens import blur
from first_bread.life import Canvas
from first_bread.light import gather_light, light_at, smooth_light
from first_bread.places.oven import oven
from first_bread.shade import shade
from first_bread.stills import Still


def warm_light() -> None:
    """The first pass of the renderer."""
    scene = oven()
    world, camera = scene.world(), scene.camera(2.0)
    points = np.zeros((1, 2, 7), np.float32)
    light = np.zeros((1, 2, 9), np.float32)
    gather_light(world, camera, (0, 0, 2, 1), 1, -1, points, light)
    smooth_light(points, light, np.zeros_like(light), 1)
    light_at(world, np.zeros(3), np.array([0.0, 1.0, 0.0]), 1)


def warm_shade() -> None:
    """The second pass of the renderer."""
    scene = oven()
    points = np.zeros((1, 2, 7), np.float32)
    light = np.zeros((1, 2, 9), np.float32)
    steady, fire = np.empty((1, 2, 4), np.float32), np.empty((1, 2, 3), np.float32)
    planes = (steady, fire, np.empty((1, 2), np.float32), np.empty((1, 2), np.int32))
    window = (0, 0, 2, 1)
    shade(scene.world(), scene.camera(2.0), window, -1, points, light, planes)


def warm_frames() -> None:
    """What draws and exposes frames."""
    light = np.full((8, 16, 3), 0.18, np.float32)
    blur(light, 1)
    depth = np.ones((8, 16), np.float32)
    still = Still(light, light, depth, 16.0, (0.18, 0.18, 0.18), [])
    canvas = Canvas(still, "oven", np.eye(3), 1)
    pixels = canvas.draw(0.0)
    sensor = Sensor.of(named("phone-log-1"), 1.0, 12.0, 10)
    planes = (np.empty((8, 16), np.uint16), *np.empty((2, 8, 8), np.uint16))
    view, still_camera, noise = np.eye(3), np.zeros(2), noise_tile(16)
    sway = canvas.sway(0.0)
    expose(pixels, near_depth(depth), view, still_camera, sway, noise, (0, 0), sensor, planes)
