"""Four small pictures of the story, for judging looks where there is no clip.

Each is a JPEG of an HLG signal (ITU-R BT.2100: scene light, BT.2020, full range), so that a look
can be put before a rendering as well as after it. `python -m first_bread.pictures` renders them
anew into the folder `views`.
"""

from __future__ import annotations

import pkgutil
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.colourmath.encodings import named, transfer_of

ENCODING: Final = "hlg"
WIDTH, HEIGHT = 480, 270
_RENDERED: Final = (640, 360)
_QUALITY: Final = 90


@dataclass(frozen=True, slots=True)
class View:
    """A part of a place: its middle as shares of the whole, and stops added to its light."""

    name: str
    title: str
    alt: str
    place: str
    middle: tuple[float, float]
    stops: float = 0.0


VIEWS: Final = (
    View("oven", "oven", "a baker at a wood-fired oven, dark brick", "oven", (0.40, 0.50), 0.7),
    View("prep", "prep", "a baker kneads dough at a floured table", "prep", (0.60, 0.40), 0.5),
    View("yard", "yard", "a yard at dawn, a man with a crate, a cart", "yard", (0.46, 0.46), 0.4),
    View("shop", "shop", "a shop counter, bread, a chart, customers", "shop", (0.58, 0.50), 0.4),
)


def jpeg(name: str) -> bytes:
    """The picture of that name, as it comes with the package."""
    data = pkgutil.get_data("first_bread", f"views/{name}.jpg")
    if data is None:
        raise FileNotFoundError(f"views/{name}.jpg is missing: install evenhand again")
    return data


def signal(data: bytes) -> npt.NDArray[np.float32]:
    """HLG signal (h, w, 3), 0..1, full range, of such a JPEG."""
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    if pixels is None:
        raise ValueError(f"no picture in {len(data)} bytes")
    return np.asarray(pixels, np.float32) / np.float32(255.0)


def render(view: View) -> bytes:
    """The same picture made anew from its scene."""
    from first_bread.stills import make_still

    still = make_still(view.place, _RENDERED)
    light = still.picture + still.fire  # without a fire that is one pixel of black
    left, top = (
        round(min(max(share * whole - part / 2, 0), whole - part))
        for share, whole, part in zip(view.middle, _RENDERED, (WIDTH, HEIGHT), strict=True)
    )
    cut = light[top : top + HEIGHT, left : left + WIDTH].astype(np.float64) * 2.0**view.stops
    coded = np.clip(transfer_of(named(ENCODING)).to_signal(np.maximum(cut, 0.0), "full"), 0.0, 1.0)
    pixels = np.floor(coded * 255.0 + 0.5).astype(np.uint8)
    flags = [
        *(cv2.IMWRITE_JPEG_QUALITY, _QUALITY),
        *(cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444),
    ]
    done, data = cv2.imencode(".jpg", np.ascontiguousarray(pixels[..., ::-1]), flags)
    if not done:
        raise ValueError(f"{view.name} cannot be coded")
    return bytes(data)


def main(folder: Path = Path(__file__).parent / "views") -> None:
    """Render all of them into a folder."""
    folder.mkdir(exist_ok=True)
    for view in VIEWS:
        (folder / f"{view.name}.jpg").write_bytes(render(view))


if __name__ == "__main__":
    main()
