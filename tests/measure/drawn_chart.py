"""A 24-patch chart drawn from published colours, laid into pictures; and pictures without one."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import colour
import cv2
import numpy as np
import simulated_camera as camera

from first_bread.derive_reflectances import reflectances

SIZE = (1280, 720)
WIDTH, HEIGHT, PITCH, PATCH = 720, 490, 113, 95


def published() -> tuple[np.ndarray, np.ndarray]:
    """CIE xyY (24, 3) and white xy of the chart made after November 2014, from colour-science."""
    tables = (getattr(colour, name) for name in dir(colour) if name.startswith("CCS_COL"))
    charts = [c for table in tables for c in table.values() if len(c.data) == 24]
    found = [c for c in charts if "After November 2014" in c.name]
    return np.array(list(found[0].data.values())), np.asarray(found[0].illuminant)


@cache
def patches() -> np.ndarray:
    """Linear BT.2020 (24, 3) under D65, adapted in Bradford's cones by colour-science."""
    xyy, white = published()
    d65 = colour.xy_to_XYZ((0.3127, 0.3290))
    xyz = colour.adaptation.chromatic_adaptation_VonKries(
        colour.xyY_to_XYZ(xyy), colour.xy_to_XYZ(white), d65, transform="Bradford"
    )
    return np.maximum(np.asarray(xyz) @ np.linalg.inv(camera.BT2020).T, 0)


@cache
def under(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Linear BT.2020 (24, 3) of the chart's spectra under a light, and of a perfect white (3,).

    The average of thirty charts, under CIE illuminants, for the CIE 1931 2° observer, all as in
    colour-science; nothing is adapted, and the white has luminance one.
    """
    reflectance = np.array([r for n, r in reflectances().items() if n.startswith("patch_")])
    shape = colour.SpectralShape(380, 780, 5)
    ends = {"method": "Constant", "left": None, "right": None}
    light = colour.SDS_ILLUMINANTS[name].copy().align(shape, extrapolator_kwargs=ends).values
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = np.asarray(light) / (np.asarray(observer)[:, 1] @ np.asarray(light))
    seen = np.vstack([reflectance, np.ones(len(light))]) * light @ observer
    rgb = np.asarray(seen) @ np.linalg.inv(camera.BT2020).T
    return np.maximum(rgb[:-1], 0), rgb[-1]


@cache
def drawn() -> np.ndarray:
    """The chart, flat, with its dark frame."""
    return drawn_with(patches())


def drawn_with(light_of_patches: np.ndarray) -> np.ndarray:
    """A chart whose patches send this light (24, 3)."""
    picture = np.full((HEIGHT, WIDTH, 3), 0.025, np.float32)
    for number, light in enumerate(light_of_patches):
        row, column = divmod(number, 6)
        top, left = 28 + PITCH * row, 30 + PITCH * column
        picture[top : top + PATCH, left : left + PATCH] = light
    return picture


def with_chart(
    picture: np.ndarray,
    rng: np.random.Generator,
    share: float | None = None,
    turn: float = 0.0,
    chart: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """A picture with the chart in it, rolled and in perspective, and the corners of its patches.

    share: of the frame's width, 25 to 50 % where None; turn: radians on top of a small roll;
    chart: from `drawn_with`, the published one where None.
    """
    h, w = picture.shape[:2]
    size = (share if share is not None else rng.uniform(0.25, 0.5)) * w
    outline = np.array([[0, 0], [WIDTH, 0], [WIDTH, HEIGHT], [0, HEIGHT]], np.float32)
    angle = turn + rng.normal(0, 0.12)
    c, s = np.cos(angle), np.sin(angle)
    corners = (outline - [WIDTH / 2, HEIGHT / 2]) * size / WIDTH @ np.array([[c, s], [-s, c]])
    corners += rng.normal(0, 0.012 * size, (4, 2)) + rng.uniform(0.42, 0.58, 2) * [w, h]
    place = cv2.getPerspectiveTransform(outline, corners.astype(np.float32))
    chart, shrink = drawn() if chart is None else chart, WIDTH / size
    if shrink > 1.2:  # a lens blurs before it samples
        chart = cv2.GaussianBlur(chart, (0, 0), 0.45 * shrink)
    chart = cv2.warpPerspective(chart, place, (w, h), borderMode=cv2.BORDER_REPLICATE)
    mask = cv2.warpPerspective(np.ones((HEIGHT, WIDTH), np.float32), place, (w, h))[..., None]
    edge = [[30, 28], [30 + 6 * PITCH, 28], [30 + 6 * PITCH, 28 + 4 * PITCH], [30, 28 + 4 * PITCH]]
    seen = cv2.perspectiveTransform(np.array([edge], np.float32) - 9, place)[0]
    return (picture * (1 - mask) + chart * mask).astype(np.float32), seen


def backgrounds(count: int, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Crops of photographs without a chart, where there are some, and synthetic scenes, in turn."""
    photographs = [p for name, p in camera.photographs().items() if name != "carrots"]
    scenes = [camera.scene(n) for n in range(4)]
    for number in range(count):
        among = photographs if photographs and number % 2 else scenes
        view = camera.View(
            x=rng.uniform(0.3, 0.7), y=rng.uniform(0.3, 0.7), share=rng.uniform(0.5, 0.97)
        )
        yield view.of(among[number // 2 % len(among)], SIZE, rng)


def pattern(kind: str, rng: np.random.Generator) -> np.ndarray:
    """A picture that could be taken for a chart: checks, tiles, windows, swatches, noise."""
    if kind == "noise":
        return rng.uniform(0, 1, (SIZE[1], SIZE[0], 3)).astype(np.float32)
    rows, columns = int(rng.integers(3, 14)), int(rng.integers(4, 20))
    gap, high, wide = rng.uniform(0.03, 0.25), SIZE[1] / rows, SIZE[0] / columns
    picture = np.full((SIZE[1], SIZE[0], 3), rng.uniform(0.02, 0.6), np.float32)
    for i in range(rows):
        for j in range(columns):
            top, left = int((i + gap) * high), int((j + gap) * wide)
            bottom, right = int((i + 1 - gap) * high), int((j + 1 - gap) * wide)
            picture[top:bottom, left:right] = _cell(kind, i + j, rng)
    view = camera.View(
        x=rng.uniform(0.4, 0.6),
        y=rng.uniform(0.4, 0.6),
        share=rng.uniform(0.4, 0.9),
        roll=float(rng.normal(0, 0.1)),
        skew=0.03,
    )
    return view.of(picture, SIZE, rng)


def _cell(kind: str, number: int, rng: np.random.Generator) -> np.ndarray:
    if kind == "checks":
        return np.full(3, 0.6 if number % 2 else 0.04)
    if kind == "tiles":
        return 0.5 * np.full(3, 2.0 ** rng.normal(0, 0.15))
    if kind == "windows":
        return np.array([0.5, 0.6, 0.8]) * 2.0 ** rng.uniform(-4, 0)
    return 2.0 ** rng.uniform(-5, 0, 3)
