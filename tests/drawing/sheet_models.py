"""Small invented sheets and walls."""

from __future__ import annotations

import numpy as np

from evenhand.drawing.lookmodel import Column, Row, SheetLook, SheetModel, Tile, WallModel
from evenhand.drawing.model import Picture
from evenhand.drawing.picture import picture_jpeg, picture_png


def picture(seed: int, size: tuple[int, int] = (27, 48), made: bool = False) -> Picture:
    """A ramp between two colours of chance."""
    first, last = np.random.default_rng(seed).random((2, 3))
    across = np.linspace(0, 1, size[1])[None, :, None]
    signal = np.broadcast_to(first + across * (last - first), (*size, 3)).astype(np.float32)
    return picture_png(signal) if made else picture_jpeg(signal)


def sheet(count: int = 3, title: str = "Three looks", name: str = "Crumb") -> SheetModel:
    """`count` looks at two strengths on two scenes (one upright) and a card."""
    sizes = ((27, 48), (48, 27))
    scenes = tuple(
        Column(f"scene {k}", f"what scene {k} shows", picture(k, size))
        for k, size in enumerate(sizes)
    )
    cards = (Column("ramps", "ramps of grey", picture(9, (14, 48), made=True)),)
    looks = []
    for k in range(count):
        rows = tuple(
            Row(
                strength,
                tuple(picture(10 * k + j + 20, size) for j, size in enumerate(sizes)),
                (picture(50 + k, (14, 48), made=True),),
                "fail" if k == 1 and strength == 1.0 else "pass",
                "fails: steepest tone 4.00 ×" if k == 1 and strength == 1.0 else "passes",
            )
            for strength in (0.5, 1.0)
        )
        looks.append(SheetLook(f"crumb-{k}", f"{name} {k}", "To try.", "for a display", rows))
    return SheetModel(title, scenes, cards, tuple(looks))


def wall(clip: str = "A001", size: tuple[int, int] = (27, 48), count: int = 4) -> WallModel:
    """Some looks on one clip; the second one fails."""
    tiles = tuple(
        Tile(
            f"crumb-{k}",
            f"Crumb {k}",
            "To try.",
            picture(k, size),
            "fail" if k == 1 else "pass",
            "fails: steepest tone 4.00 ×" if k == 1 else "passes",
            f"evenhand look use crumb-{k} {clip} --strength 70%",
        )
        for k in range(count)
    )
    return WallModel(clip, "3 s", 0.7, picture(99, size), tiles)
