"""Where the camera of a clip looks at each moment: turn, crop, a hand's shake, parallax."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from first_bread.story import Framing, Shot

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Lens:
    """A still as it is looked at: width, height and focal length in pixels."""

    width: int
    height: int
    focal: float


def homography(lens: Lens, size: tuple[int, int], framing: Framing) -> Array:
    """3x3 from output pixels to still pixels: a turn about the camera's own place, then a crop."""
    w, h = size
    cx, cy = framing.x * lens.width, framing.y * lens.height
    scale = lens.width / w / framing.zoom
    roll = math.radians(framing.roll)
    c, s = math.cos(roll) * scale, math.sin(roll) * scale
    crop = np.array(
        [[c, -s, cx - (c * w - s * h) / 2], [s, c, cy - (s * w + c * h) / 2], [0, 0, 1.0]]
    )
    pan, tilt = math.radians(framing.pan), math.radians(framing.tilt)
    about_y = [[math.cos(pan), 0, math.sin(pan)], [0, 1, 0], [-math.sin(pan), 0, math.cos(pan)]]
    about_x = [[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]]
    centre = np.array([[1, 0, cx], [0, 1, cy], [0, 0, 1.0]])
    projection = np.diag([lens.focal, lens.focal, 1.0])
    turn = projection @ np.array(about_y) @ np.array(about_x) @ np.linalg.inv(projection)
    whole: Array = centre @ turn @ np.linalg.inv(centre) @ crop
    return whole


def framing_at(shot: Shot, progress: float, seconds: float, drift: Array) -> Framing:
    """The framing between start (progress 0) and end (1), with a hand's shake."""
    eased = 0.5 - 0.5 * math.cos(math.pi * progress)

    def between(name: str) -> float:
        start, end = float(getattr(shot.start, name)), float(getattr(shot.end, name))
        return start * (1.0 - eased) + end * eased

    x = 0.0016 * math.sin(1.9 * seconds + drift[0]) + 0.0007 * math.sin(5.1 * seconds + drift[1])
    y = 0.0014 * math.sin(2.3 * seconds + drift[2]) + 0.0007 * math.sin(6.2 * seconds + drift[3])
    roll = 0.12 * math.sin(1.4 * seconds + drift[4])
    return Framing(
        between("zoom"),
        between("x") + x,
        between("y") + y,
        between("roll") + roll,
        between("pan"),
        between("tilt"),
    )


def view_at(
    shot: Shot, lens: Lens, size: tuple[int, int], progress: float, seconds: float, drift: Array
) -> Array:
    """Homography from upright output pixels of `size` to still pixels."""
    framing = framing_at(shot, progress, seconds, drift)
    if shot.portrait:  # the still's whole height is shown
        zoom = framing.zoom * lens.width * size[1] / (lens.height * size[0])
        framing = Framing(zoom, framing.x, framing.y, framing.roll, framing.pan, framing.tilt)
    return homography(lens, size, framing)


def parallax_at(reach: float, seconds: float, drift: Array) -> Array:
    """Sideways move of the camera: still pixels for each 1/m of inverse distance."""
    sideways = math.sin(1.1 * seconds + drift[5])
    upwards = 0.35 * math.sin(1.7 * seconds + drift[6])
    return np.array([sideways, upwards]) * reach


def coded_from_upright(upright_width: int) -> Array:
    """3x3 from pixels of a picture coded on its side to pixels of the upright picture."""
    return np.array([[0.0, -1.0, upright_width - 1.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
