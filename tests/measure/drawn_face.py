"""A face drawn of ellipses in linear BT.2020 light, plain enough for any tone and any place."""

from __future__ import annotations

import cv2
import numpy as np


def drawn_face(
    skin: np.ndarray, size: tuple[int, int], at: tuple[float, float], tall: float
) -> np.ndarray:
    """A (height, width, 3) picture of linear light with one face.

    skin: linear light (3,) of the skin; size: width, height; at, tall: middle of the face and its
    height from hair to chin, in pixels.
    """
    big = 4  # drawn large and shrunk, so that edges are soft
    picture = np.full((size[1] * big, size[0] * big, 3), 0.12, np.float32)

    def oval(x: float, y: float, wide: float, high: float, colour: np.ndarray) -> None:
        middle = (round(big * (at[0] + x * tall)), round(big * (at[1] + y * tall)))
        axes = (max(1, round(big * wide * tall)), max(1, round(big * high * tall)))
        cv2.ellipse(picture, middle, axes, 0, 0, 360, [float(c) for c in colour], -1)

    dark, white = np.array([0.012, 0.010, 0.009]), np.array([0.5, 0.5, 0.5])
    oval(0, -0.08, 0.42, 0.55, dark)  # hair
    oval(0, 0.75, 0.18, 0.4, 0.6 * skin)  # neck
    oval(0, 1.25, 0.75, 0.42, np.array([0.2, 0.22, 0.3]))  # shoulders
    oval(0, 0.03, 0.36, 0.47, skin)
    for side in (-1, 1):
        oval(side * 0.15, -0.13, 0.085, 0.016, dark)  # brow
        oval(side * 0.15, -0.055, 0.085, 0.045, 0.55 * skin)
        oval(side * 0.15, -0.05, 0.065, 0.027, white)
        oval(side * 0.15, -0.05, 0.030, 0.030, dark)
        oval(side * 0.035, 0.135, 0.02, 0.014, 0.35 * skin)  # nostril
    oval(0, 0.03, 0.025, 0.11, 1.15 * skin)  # nose
    oval(0, 0.27, 0.12, 0.035, skin * np.array([0.75, 0.42, 0.45]))  # mouth
    oval(0, 0.268, 0.11, 0.008, 0.2 * skin)
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small, (0, 0), max(0.6, 0.012 * tall))
