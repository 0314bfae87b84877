"""Pictures in scene light, by where they come from; what is slow to make is kept between runs."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from bench.levelling.made import ROOT, camera, good_pictures
from first_bread.stills import PLACES, Still, make_still

Picture = np.ndarray
KEPT = Path(tempfile.gettempdir()) / "evenhand-bench"
STILL = (960, 540)


@cache
def program(count: int) -> tuple[Picture, ...]:
    """Scenes of several hundred textured shapes."""
    return tuple(camera.scene(seed) for seed in range(count))


@cache
def demo() -> tuple[Picture, ...]:
    """The demo's places, rendered from reflectances that were derived from spectra."""
    pictures = []
    for place in PLACES:
        still = _still(place)
        lit = still.picture + (still.fire if still.fire.shape == still.picture.shape else 0)
        large = cv2.resize(lit, None, fx=4 / 3, fy=4 / 3, interpolation=cv2.INTER_CUBIC)
        pictures.append(np.maximum(large, 0).astype(np.float32))
    return tuple(pictures)


def _still(place: str) -> Still:
    """A place, rendered once for one state of the program that renders it."""
    digest = hashlib.blake2b(digest_size=8)
    for path in sorted((ROOT / "src" / "first_bread").rglob("*.py")):
        digest.update(path.read_bytes())
    kept = KEPT / f"{place}-{digest.hexdigest()}.still"
    if not kept.exists():
        KEPT.mkdir(exist_ok=True)
        part = kept.with_suffix(".part")
        make_still(place, STILL).save(part)
        part.replace(kept)
    return Still.load(kept)


@cache
def photographs() -> tuple[Picture, ...]:
    """Photographs beside the repository, and those that come in installed packages."""
    beside = [large(p) for p in camera.photographs().values()]
    return (*beside, *(large(p) for p in good_pictures.package_photographs().values()))


def large(picture: Picture) -> Picture:
    """At least 700 pixels high, so that a close-up has something to show."""
    if len(picture) >= 700:
        return picture
    scale = 700 / len(picture)
    size = (round(picture.shape[1] * scale), 700)
    return np.maximum(cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC), 0)


def by_name(scenes: int) -> dict[str, Sequence[Picture]]:
    """All that there is, by what it is called in the tables."""
    found: dict[str, Sequence[Picture]] = {"program": program(scenes), "demo": demo()}
    if photographs():
        found["photographs"] = photographs()
    return found


def told() -> str:
    """Which photographs took part."""
    beside = ", ".join(camera.photographs()) or "none"
    inside = ", ".join(good_pictures.package_photographs()) or "none"
    return (
        f"Photographs beside the repository: {beside}. In installed packages (scikit-image, "
        f"scikit-learn; not required): {inside}."
    )
