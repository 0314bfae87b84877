"""The hue of skin as a check: read where a face is or where a person points, never aimed at.

Hue is the angle of the display signal on a vectorscope (degrees from +Cb towards +Cr). It is nearly
the same for skins of all tones, so it can tell that a white went wrong; how light or how colourful
skin is differs from person to person, so nothing is concluded from those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.primaries import luminance_weights
from evenhand.colourmath.ycbcr import rgb_to_ycc
from evenhand.grade.document import Adjustment, Grade, Levelling
from evenhand.grade.exact import FindLook, exact_transform, scene_light
from evenhand.grade.output_transforms import output_encoding
from evenhand.measure.skin.faces import Face

Floats = NDArray[np.float64]
Signal = NDArray[np.float32]
Stage = Literal["shot", "levelled", "adjusted", "looked"]

LEAST_PIXELS: Final = 24
LEAST_SATURATION: Final = 1.5  # percent: under it hue means nothing
POINT_SIDE: Final = 0.02  # of the picture's width: the side of what a person points at
# Of the pixels of a face: the darker ones are hair, eyes, shadow; the brighter ones shine.
_DARKER, _BRIGHTER = 30.0, 90.0
_STRAY = 2.5  # robust standard deviations of chroma: what lies further out is not the skin
_FULL = 0.98  # of display signal: a channel above it may be clipped
_EMPTY = 0.02  # of display luma: below it hue is noise


class SkinReading(msgspec.Struct, frozen=True):
    """Skin at one stage of the work, in the display signal.

    angle: degrees 0..360; saturation: percent of ±0.5 (None of both means grey: no hue to read);
    luma: percent; stray: half of the pixels lie within so many degrees.
    """

    angle: float | None
    saturation: float
    luma: float
    stray: float = 0.0


class SkinPlace(msgspec.Struct, frozen=True, kw_only=True):
    """One face of one frame, or one place that a person pointed at, at every stage.

    seconds after the first frame; box: left, top, width, height as fractions of the upright
    picture. shot: without levelling; levelled: by levelling alone; adjusted: by hand too; looked:
    with the look; the last two None where there is none. stops: scene light over 18 % grey, as shot
    and levelled. All stages are read from the same pixels and in the same output transform.
    """

    seconds: float
    box: tuple[float, float, float, float]
    pixels: int
    shot: SkinReading
    levelled: SkinReading
    adjusted: SkinReading | None = None
    looked: SkinReading | None = None
    stops: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Patch:
    """A part of a picture that holds skin: where it is, and which of its pixels to look at."""

    rows: slice
    columns: slice
    mask: NDArray[np.bool_]
    box: tuple[float, float, float, float]


def stages(grade: Grade) -> dict[Stage, Grade]:
    """The grades to compare, in one output transform, so that what differs is what was done."""
    bare = msgspec.structs.replace(grade, levelling=Levelling(), adjustment=Adjustment(), look=None)
    found: dict[Stage, Grade] = {"shot": bare}
    found["levelled"] = msgspec.structs.replace(bare, levelling=grade.levelling)
    if grade.adjustment != Adjustment():
        found["adjusted"] = msgspec.structs.replace(grade, look=None)
    if grade.look is not None and grade.look.strength > 0.0:
        found["looked"] = grade
    return found


def face_patch(face: Face, size: tuple[int, int]) -> Patch | None:
    """Forehead, cheeks and nose of a face in a picture of (width, height); None where too small.

    Built on the line from the mouth to the middle of the eyes, so that a leaning head is met too.
    Left out: eyes with what is round them (spectacles), all below the nose (mouth, beard), hair.
    """
    width, height = size
    points = np.array(face.points) * size
    eyes, mouth = points[:2].mean(axis=0), points[3]
    up = eyes - mouth
    long = float(np.hypot(*up))
    if long < 4.0:
        return None
    wide = max(float(np.hypot(*(points[0] - points[1]))), 0.6 * long)
    reach = 1.3 * max(long, wide)
    left, right = _within(eyes[0] - reach, eyes[0] + reach, width)
    top, bottom = _within(eyes[1] - reach, eyes[1] + reach, height)
    y, x = np.mgrid[top:bottom, left:right] + 0.5
    along = ((x - eyes[0]) * up[0] + (y - eyes[1]) * up[1]) / long**2  # 0 at the eyes, −1 mouth
    across = ((x - eyes[0]) * up[1] - (y - eyes[1]) * up[0]) / (long * wide)  # ±0.5 at the eyes
    oval = ((along + 0.15) / 0.75) ** 2 + (across / 0.8) ** 2 < 1.0
    mask = oval & (along > -0.75)
    for eye in points[:2]:
        mask &= np.hypot(x - eye[0], y - eye[1]) > 0.28 * long
    if int(mask.sum()) < LEAST_PIXELS:
        return None
    return Patch(slice(top, bottom), slice(left, right), mask, face.box)


def point_patch(x: float, y: float, size: tuple[int, int]) -> Patch:
    """The square round a place that a person points at: fractions of (width, height)."""
    width, height = size
    half = max(3.0, POINT_SIDE * width / 2)
    left, right = _within(x * width - half, x * width + half, width)
    top, bottom = _within(y * height - half, y * height + half, height)
    box = (left / width, top / height, (right - left) / width, (bottom - top) / height)
    mask = np.ones((bottom - top, right - left), bool)
    return Patch(slice(top, bottom), slice(left, right), mask, box)


def _within(low: float, high: float, size: int) -> tuple[int, int]:
    start = min(max(0, round(low)), size - 1)
    return start, max(min(size, round(high)), start + 1)


def read_place(
    frame: tuple[Signal, Signal],
    patch: Patch,
    grade: Grade,
    seconds: float = 0.0,
    looks: FindLook | None = None,
) -> SkinPlace | None:
    """Skin of one patch at every stage, from the same pixels; None where too few can be used.

    frame: signal (h, w, 3) as shot, and steadied as the grade's levelling has it (one picture twice
    where there is nothing to steady). Pixels are chosen in the levelled stage.
    """
    shot, steady = (s[patch.rows, patch.columns][patch.mask].astype(np.float64) for s in frame)
    matrix = _matrix(output_encoding(grade.output_transform))
    shown = {
        name: exact_transform(g, looks)(shot if name == "shot" else steady)
        for name, g in stages(grade).items()
    }
    kept = skin_pixels(shown["levelled"], matrix) & (shot < _FULL).all(axis=1)
    if int(kept.sum()) < LEAST_PIXELS:
        return None
    found = {name: read_skin(values[kept], matrix) for name, values in shown.items()}
    after, before = (_stops(pixels[kept], grade.encoding) for pixels in (steady, shot))
    return SkinPlace(
        seconds=round(seconds, 3),
        box=patch.box,
        pixels=int(kept.sum()),
        shot=found["shot"],
        levelled=found["levelled"],
        adjusted=found.get("adjusted"),
        looked=found.get("looked"),
        stops=(before, after + grade.levelling.stops),
    )


def _stops(signal: Floats, encoding: Encoding) -> float:
    """Median scene light of pixels in stops over 18 % grey."""
    light = scene_light(signal, encoding) @ luminance_weights("bt2020")
    return math.log2(max(float(np.median(light)), 1e-6) / 0.18)


def _matrix(encoding: Encoding) -> str:
    return "bt2020" if encoding.matrix == "bt2020" else "bt709"


def skin_pixels(shown: Floats, matrix: str) -> NDArray[np.bool_]:
    """Which display pixels (n, 3) are the skin of a face: its middle lumas, and one chroma.

    Hair, eyes, spectacles and shadows are dark, shine is bright or clipped; what is left in between
    (lips, a beard, a strap) strays from the chroma of most.
    """
    luma, cb, cr = (shown @ rgb_to_ycc(matrix).T).T
    usable: NDArray[np.bool_] = (shown.max(axis=1) < _FULL) & (luma > _EMPTY)
    if not usable.any():
        return usable
    low, high = np.percentile(luma[usable], (_DARKER, _BRIGHTER))
    kept = usable & (luma >= low) & (luma <= high)
    for _ in range(3):
        away = np.hypot(cb - np.median(cb[kept]), cr - np.median(cr[kept]))
        # Half of a round normal cloud lies within 1.18 of its deviations.
        deviation = float(np.median(away[kept])) / 1.18
        kept &= away <= max(_STRAY * deviation, 0.004)
    return np.asarray(kept, np.bool_)


def read_skin(shown: Floats, matrix: str) -> SkinReading:
    """The reading of skin pixels (n, 3) of a display signal."""
    luma, cb, cr = (shown @ rgb_to_ycc(matrix).T).T
    mean_cb, mean_cr = float(cb.mean()), float(cr.mean())
    saturation = 200.0 * math.hypot(mean_cb, mean_cr)
    percent = 100.0 * float(np.median(luma))
    if saturation < LEAST_SATURATION:
        return SkinReading(None, saturation, percent)
    angle = math.degrees(math.atan2(mean_cr, mean_cb)) % 360.0
    each = np.degrees(np.arctan2(cr, cb))
    stray = float(np.median(np.abs((each - angle + 180.0) % 360.0 - 180.0)))
    return SkinReading(angle, saturation, percent, stray)


def middle(readings: Sequence[SkinReading]) -> SkinReading:
    """One reading for several: the median of their chroma, and of everything else."""
    coloured = [r for r in readings if r.angle is not None]
    luma = float(np.median([r.luma for r in readings]))
    if 2 * len(coloured) <= len(readings):
        return SkinReading(None, float(np.median([r.saturation for r in readings])), luma)
    turn = np.radians([r.angle or 0.0 for r in coloured])
    radius = np.array([r.saturation for r in coloured])
    cb, cr = (float(np.median(radius * part(turn))) for part in (np.cos, np.sin))
    angle = math.degrees(math.atan2(cr, cb)) % 360.0
    return SkinReading(
        angle, math.hypot(cb, cr), luma, float(np.median([r.stray for r in coloured]))
    )
