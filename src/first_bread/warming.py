"""Draws one frame of next to nothing, so that its loops are compiled before they are needed."""

from __future__ import annotations

import numpy as np

from evenhand.colourmath.encodings import named
from first_bread.camera import Sensor, expose, near_depth, noise_tile
from first_bread.life import Canvas
from first_bread.stills import Still


def draw_one_frame() -> None:
    """Draw and expose 16 x 8 pixels with everything that can move."""
    light = np.full((8, 16, 3), 0.18, np.float32)
    depth = np.ones((8, 16), np.float32)
    still = Still(light, light, depth, 16.0, (0.18, 0.18, 0.18), [])
    canvas = Canvas(still, "oven", np.eye(3), 1)
    pixels = canvas.draw(0.0)
    sensor = Sensor.of(named("phone-log-1"), 1.0, 12.0, 10)
    planes = tuple(np.empty(shape, np.uint16) for shape in ((8, 16), (8, 8), (8, 8)))
    expose(
        pixels,
        near_depth(depth),
        np.eye(3),
        np.zeros(2),
        canvas.sway(0.0),
        noise_tile(16),
        (0, 0),
        sensor,
        (planes[0], planes[1], planes[2]),
    )
