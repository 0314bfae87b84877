"""One scene under two named lights, from spectra: what changes is not a von Kries adaptation.

Surfaces are spectral reflectances, lights are CIE illuminants and black bodies; the camera sees XYZ
of their product (CIE 1931 2° observer) and is balanced for none of them. What a perfect grey sends
is the truth.
"""

from __future__ import annotations

from functools import cache

import colour
import cv2
import numpy as np

from bench.levelling.made import camera
from evenhand.colourmath.primaries import rgb_to_xyz
from first_bread.derive_reflectances import reflectances

LIGHTS = ("A", "D50", "D55", "D65", "D75", "FL2", "FL11", "LED-B1", "LED-B3", "LED-B5")
_SHAPE = colour.SpectralShape(380, 780, 5)
SIZE = (1280, 720)


@cache
def light(name: str) -> np.ndarray:
    """Power of a named light every 5 nm, of luminance one."""
    spectrum = colour.SDS_ILLUMINANTS[name].copy()
    ends = {"method": "Constant", "left": None, "right": None}
    power = np.asarray(spectrum.align(_SHAPE, extrapolator_kwargs=ends).values)
    return power / (_observer()[:, 1] @ power)


@cache
def _observer() -> np.ndarray:
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return np.asarray(observer.align(_SHAPE).values)


@cache
def surfaces() -> np.ndarray:
    """Spectral reflectances (n, wavelengths)."""
    return np.array(list(reflectances().values()))


def seen(name: str) -> np.ndarray:
    """Linear BT.2020 (n + 1, 3) of all surfaces under a light, the last of them a perfect white."""
    spectra = np.vstack([surfaces(), np.ones(len(light(name)))]) * light(name)
    return np.asarray(spectra @ _observer() @ np.linalg.inv(rgb_to_xyz("bt2020")).T)


@cache
def _drawn(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Which surface is where (h, w), and how much light falls there (h, w)."""
    rng = np.random.default_rng(seed)
    w, h = SIZE
    where = np.zeros((h, w), np.uint8)
    for _ in range(500):
        extent = np.minimum(rng.pareto(1.3) * 14 + 6, 240)
        axes = (int(extent), int(extent * rng.uniform(0.3, 1.0)))
        centre = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        kind, angle = int(rng.integers(len(surfaces()))), float(rng.uniform(0, 180))
        cv2.ellipse(where, centre, axes, angle, 0, 360, kind, -1, cv2.LINE_8)
    grain = np.zeros((h, w), np.float32)
    for step in (2, 4, 8, 16, 32):
        octave = rng.standard_normal((h // step + 2, w // step + 2)).astype(np.float32)
        grain += cv2.resize(octave, (w, h), interpolation=cv2.INTER_CUBIC) * 0.08
    return where, np.exp2(grain)


def scene(seed: int, name: str) -> np.ndarray:
    """A scene under a named light, linear BT.2020 (h, w, 3)."""
    where, falls = _drawn(seed)
    picture = seen(name)[where] * falls[..., None] * 0.8
    return cv2.GaussianBlur(np.maximum(picture, 0).astype(np.float32), (0, 0), 0.8)


def recorded(
    view: np.ndarray, name: str, stops: float, rng: np.random.Generator, curve: str
) -> camera.Recording:
    """A recording of a scene under a light: `grey` is what a perfect grey becomes."""
    found = camera.record(view, camera.Fault(stops), rng, curve)
    grey = seen(name)[-1] * 2.0**stops
    return camera.Recording(found.signal, found.light, found.clip_level, found.matrix, grey)
