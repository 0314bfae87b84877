"""What everybody tries first, to be better than: statistics of the whole picture, as published.

Each takes the light of a picture's valid pixels (n, 3) or the picture (h, w, 3) with its mask, and
gives the light that it takes for white (3,), linear BT.2020.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from evenhand.measure.views import Features

Estimator = Callable[[Features], np.ndarray]


def grey_world(frame: Features) -> np.ndarray:
    """The mean of a picture is grey (Buchsbaum 1980, doi:10.1016/0016-0032(80)90058-7)."""
    return _lit(frame).mean(axis=0)


def max_rgb(frame: Features) -> np.ndarray:
    """The brightest of each channel is white (Land 1977, Scientific American 237/6, 108-128).

    The 99th percentile stands for the brightest, so that noise does not.
    """
    return np.percentile(_lit(frame), 99, axis=0)


def shades_of_grey(frame: Features) -> np.ndarray:
    """Minkowski's mean with p = 6 (Finlayson and Trezzi 2004, CIC 12, 37-41)."""
    return (_lit(frame) ** 6).mean(axis=0) ** (1 / 6)


def grey_edge(frame: Features) -> np.ndarray:
    """Edges are grey on average: first order, p = 1 (van de Weijer, Gevers and Gijsenij 2007,
    doi:10.1109/TIP.2007.901808), after a Gaussian blur of two pixels."""
    light = cv2.GaussianBlur(frame.light.astype(np.float32), (0, 0), 2.0)
    across, down = (cv2.Sobel(light, cv2.CV_32F, *d) for d in ((1, 0), (0, 1)))
    mask = cv2.erode(frame.valid.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    mask = mask if mask.sum() > 100 else np.ones_like(mask)
    edges = np.hypot(across, down)[mask].mean(axis=0)
    # An edge tells a colour, not a level: it is given the level of the mean.
    return np.asarray(edges / max(edges.mean(), 1e-9) * grey_world(frame).mean())


def _lit(frame: Features) -> np.ndarray:
    light = frame.light.astype(np.float64)
    lit = light[frame.valid]
    return lit if len(lit) > 100 else light.reshape(-1, 3)


BASELINES: dict[str, Estimator] = {
    "grey world": grey_world,
    "max-RGB": max_rgb,
    "shades of grey": shades_of_grey,
    "grey edge": grey_edge,
}
