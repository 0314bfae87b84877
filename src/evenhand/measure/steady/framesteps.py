"""What changes from one frame to the next: small pictures, registered, and their robust log ratio.

Everything is in the clip's own linear channel light (the encoding's transfer for each channel by
itself, its own primaries), because what is found here is taken out there, channel by channel. Small
pictures are about 160 pixels wide, as stored: rows are rows of the sensor's readout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.grade.exact import SIGNAL_HIGH, SIGNAL_LOW
from evenhand.grade.steadying import channel_light
from evenhand.measure.views import CLIP_MARGIN

FloatImage = NDArray[np.float32]
Array = NDArray[np.float64]
Motion = NDArray[np.float64]

LONGEST: Final = 160  # pixels; the size that steps are measured at
FLOOR: Final = 0.004  # light under which a pixel is noise and does not vote
STEEP: Final = 0.5  # stops of log2 green from pixel to pixel, from which an edge does not vote
MOST_SAMPLES: Final = 2500
LEAST_SAMPLES: Final = 800  # of 160 × 90; fewer say nothing about white
FEWEST_SAMPLES: Final = 150  # fewer say nothing at all
BRIGHT: Final = (3.0, 2.0, 1.0)  # stops above the floor that are preferred
PLENTY: Final = 2500
LEAST_SPREAD: Final = 0.02  # stops; noise of a good sensor at this size
WIDEST: Final = 0.6  # stops; what departs by more has nothing to do with the camera's automatics
UNALIKE: Final = 0.5  # stops of spread, from which two frames do not show the same thing
CLEAR: Final = (0.1, 0.6)  # stops of spread at the most, support at the least
_TABLE: Final = 1 << 14
_FAR: Final = 0.25  # of the width; longer shifts are mistakes
_ROUNDS: Final = 2
# What the channels' logarithms weigh in that of a row: near luminance, for any primaries.
_LUMA: Final = np.array([0.25, 0.65, 0.10], np.float32)
_STILL: Final = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True, slots=True)
class SmallFrame:
    """log2 of the three channels' own light (h, w, 3), which pixels can be measured, and when.

    `floor` is the light under which pixels are noise; `seconds` is the presentation time after the
    clip's first frame.
    """

    logs: FloatImage
    valid: NDArray[np.bool_]
    floor: float
    seconds: float


@dataclass(frozen=True, slots=True)
class FrameStep:
    """From one small frame to another: log2 channel ratio (3,), and how well it is known.

    motion: (2, 3), from pixels of the one to pixels of the other. spread: stops by which the
    pixels' ratios depart; support: share of the samples that agree; samples: how many there were.
    brightness: stops by which the whole picture changed, whatever it shows.
    """

    ratio: Array
    motion: Motion
    spread: float
    support: float
    samples: int
    brightness: float

    @property
    def same_scene(self) -> bool:
        """Whether both frames show the same thing, so that the ratio means something."""
        return self.samples >= FEWEST_SAMPLES and self.spread <= UNALIKE and self.support >= 0.3

    @property
    def clear(self) -> bool:
        """Whether frames that lie further apart may be compared by this alone."""
        return self.knows_white and self.spread <= CLEAR[0] and self.support >= CLEAR[1]

    @property
    def knows_white(self) -> bool:
        return self.same_scene and self.samples >= LEAST_SAMPLES


@cache
def floor_light(encoding: Encoding) -> float:
    """The own linear light of a channel at scene light FLOOR: the same but for PQ."""
    signal = transfer_of(encoding).to_signal(np.full(3, FLOOR), encoding.range)
    return float(channel_light(signal, encoding)[1])


@cache
def _log_table(encoding: Encoding) -> FloatImage:
    """log2 of a channel's own light over SIGNAL_LOW..SIGNAL_HIGH, from a quarter of the floor."""
    steps = np.linspace(SIGNAL_LOW, SIGNAL_HIGH, _TABLE)
    light = np.maximum(channel_light(steps, encoding), floor_light(encoding) / 4)
    table = np.log2(light).astype(np.float32)
    table.setflags(write=False)
    return table


def channel_logs(signal: FloatImage, encoding: Encoding) -> FloatImage:
    """log2 of the own light of each channel, by a table; the signal must be free of NaN."""
    scale = np.float32((_TABLE - 1) / (SIGNAL_HIGH - SIGNAL_LOW))
    index = (signal - np.float32(SIGNAL_LOW)) * scale + np.float32(0.5)
    np.clip(index, 0, _TABLE - 1, out=index)
    return _log_table(encoding)[index.astype(np.uint16)]


def small_frame(
    signal: FloatImage, encoding: Encoding, clip_level: float, seconds: float
) -> SmallFrame:
    """A small picture (h, w, 3) in signal made ready. `clip_level`: signal above which it clips.

    A pixel beside a clipped one holds some of it, so it takes no part either.
    """
    logs, floor = channel_logs(signal, encoding), floor_light(encoding)
    red, green, blue = cv2.split(signal)
    lit = cv2.max(cv2.max(red, green), blue) < clip_level - CLIP_MARGIN
    lit = cv2.erode(lit.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=1) > 0
    red, green, blue = cv2.split(logs)
    seen = cv2.min(cv2.min(red, green), blue) > np.log2(floor)
    return SmallFrame(logs, np.asarray(lit & seen), floor, seconds)


def relit(frame: SmallFrame, stops: NDArray[np.floating]) -> SmallFrame:
    """The frame without so many stops of light in each row (h,)."""
    less = stops.astype(np.float32)[:, None, None]
    return SmallFrame(frame.logs - less, frame.valid, frame.floor, frame.seconds)


@cache
def _window(size: tuple[int, int]) -> FloatImage:
    return np.asarray(cv2.createHanningWindow(size, cv2.CV_32F), np.float32)


def motion_between(a: SmallFrame, b: SmallFrame, level_rows: bool = False) -> Motion:
    """How the picture moved from a to b: (2, 3), from pixels of a to pixels of b.

    With `level_rows` every row is brought to the same mean first: bands of light that run through
    the picture then do not look like motion.

    Phase correlation of log green finds the shift; least squares on its gradients then find the
    rest of it, with turning and zooming, in two rounds. Pixels that do not follow (somebody who
    crosses the picture) lose their vote by Tukey's biweight.
    """
    height, width = a.valid.shape
    first, second = (np.ascontiguousarray(frame.logs[..., 1]) for frame in (a, b))
    if level_rows:
        first, second = (g - g.mean(axis=1, keepdims=True) for g in (first, second))
    centred = [green - np.float32(green.mean()) for green in (first, second)]
    (x, y), _ = cv2.phaseCorrelate(centred[0], centred[1], _window((width, height)))
    if np.hypot(x, y) > _FAR * width:
        x, y = 0.0, 0.0
    motion = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    for _ in range(_ROUNDS):
        moved, valid = _moved(first, a.valid, motion)
        change = _motion_left(moved, second, valid & b.valid)
        if change is None:
            break
        motion = (change @ np.vstack([motion, [0.0, 0.0, 1.0]]))[:2]
    far = np.abs(motion[:, :2] - np.eye(2)).max() > 0.1 or np.abs(motion[:, 2]).max() > 0.5 * width
    return _STILL if far else motion


def _moved(
    picture: FloatImage, valid: NDArray[np.bool_], motion: Motion
) -> tuple[FloatImage, NDArray[np.bool_]]:
    size = (valid.shape[1], valid.shape[0])
    moved = cv2.warpAffine(picture, motion, size, borderMode=cv2.BORDER_REPLICATE)
    whole = cv2.warpAffine(valid.astype(np.uint8) * 255, motion, size, borderValue=0)
    return np.asarray(moved, np.float32), np.asarray(whole > 250)


def _motion_left(moved: FloatImage, still: FloatImage, valid: NDArray[np.bool_]) -> Motion | None:
    """The motion (3, 3) that `moved` still lacks, on every other pixel; None where too few say."""
    across = cv2.Sobel(moved, cv2.CV_32F, 1, 0, scale=0.125)[::2, ::2]
    down = cv2.Sobel(moved, cv2.CV_32F, 0, 1, scale=0.125)[::2, ::2]
    keep = valid[::2, ::2]
    if keep.sum() < FEWEST_SAMPLES:
        return None
    left = (still - moved)[::2, ::2][keep]
    gx, gy = across[keep], down[keep]
    rows, columns = np.nonzero(keep)
    height, width = valid.shape
    px = (2 * columns - width / 2).astype(np.float32) / np.float32(width)
    py = (2 * rows - height / 2).astype(np.float32) / np.float32(width)
    left -= np.median(left)
    reach = max(4.7 * 1.4826 * float(np.median(np.abs(left))), 0.1)
    weight = np.square(np.maximum(1 - np.square(left / np.float32(reach)), 0))
    columns_of = np.stack([-gx, -gy, -(gx * px + gy * py), gx * py - gy * px, np.ones_like(gx)])
    weighted = columns_of * weight
    normal = (weighted @ columns_of.T).astype(np.float64) + 1e-4 * np.eye(5)
    x, y, zoom, turn, _ = np.linalg.solve(normal, (weighted @ left).astype(np.float64))
    zoom, turn = zoom / width, turn / width
    cx, cy = width / 2, height / 2
    return np.array(
        [
            [1 + zoom, -turn, x - zoom * cx + turn * cy],
            [turn, 1 + zoom, y - turn * cx - zoom * cy],
            [0.0, 0.0, 1.0],
        ]
    )


def differences(
    a: SmallFrame, b: SmallFrame, motion: Motion, most: int = MOST_SAMPLES
) -> tuple[FloatImage, int]:
    """log2 of b over a, (n, 3), at pixels that both know and that are no edges; and how many.

    Both are moved, each by half, so that interpolation and the masks treat them alike: moving one
    alone made a chain of steps err by 0.001 stop a frame.
    """
    half = np.vstack([0.5 * (motion + _STILL), [0.0, 0.0, 1.0]])
    rest = half @ np.linalg.inv(np.vstack([motion, [0.0, 0.0, 1.0]]))
    before, valid = _moved(a.logs, a.valid, half[:2])
    after, also = _moved(b.logs, b.valid, rest[:2])
    green = np.ascontiguousarray(before[..., 1] + after[..., 1]) * np.float32(0.5)
    where = np.flatnonzero(_lit(before, after, valid & also & _flat(green), b.floor))
    count = len(where)
    where = where[:: max(1, count // most)]
    return after.reshape(-1, 3)[where] - before.reshape(-1, 3)[where], count


def _lit(
    moved: FloatImage, still: FloatImage, mask: NDArray[np.bool_], floor: float
) -> NDArray[np.bool_]:
    """The bright part of the mask where it is large enough: near the floor white is unsure.

    The mean of both frames decides, so that the choice favours neither.
    """
    dark = np.minimum.reduce(cv2.split(moved + still)) / 2 - np.float32(np.log2(floor))
    for stops in BRIGHT:
        lit = np.asarray(mask & (dark > stops))
        if np.count_nonzero(lit) >= PLENTY:
            return lit
    return mask


@dataclass(frozen=True, slots=True)
class RowDifferences:
    """log2 of b over a for each row of b (h,): median; the row of a it is from; its samples."""

    stops: Array
    rows_before: Array
    samples: NDArray[np.intp]


def row_differences(a: SmallFrame, b: SmallFrame, motion: Motion) -> RowDifferences:
    """Compares rows, each by the median of its pixels, so that what crosses it has no vote."""
    height, width = b.valid.shape
    before = np.ascontiguousarray(a.logs @ _LUMA)
    after = np.ascontiguousarray(b.logs @ _LUMA)
    moved, valid = _moved(before, a.valid, motion)
    mask = valid & b.valid & _flat(after)
    samples = np.count_nonzero(mask, axis=1)
    ordered = np.sort(np.where(mask, after - moved, np.float32(np.inf)), axis=1)
    rows = np.arange(height)
    low, high = ordered[rows, (samples - 1) // 2 % width], ordered[rows, samples // 2 % width]
    stops = np.where(samples > 0, 0.5 * (low + high), 0.0).astype(np.float64)
    back = cv2.invertAffineTransform(motion)
    return RowDifferences(stops, back[1, 0] * (width / 2) + back[1, 1] * rows + back[1, 2], samples)


def _flat(green: FloatImage) -> NDArray[np.bool_]:
    across = cv2.Sobel(green, cv2.CV_32F, 1, 0, scale=0.25)
    down = cv2.Sobel(green, cv2.CV_32F, 0, 1, scale=0.25)
    return np.asarray(np.abs(across) + np.abs(down) < STEEP)


def robust_middle(stops: FloatImage) -> tuple[Array, float, NDArray[np.float32]]:
    """Where log ratios (n, 3) agree: middle (3,), spread in stops, weight of each.

    Tukey's biweight; a sample's weight comes from its worst channel, so that what changed in colour
    alone, such as somebody's coat, takes no part.
    """
    columns = np.ascontiguousarray(stops.T)
    middle = np.median(columns, axis=1)
    spread, weight = LEAST_SPREAD, np.ones(len(stops), np.float32)
    for _ in range(4):
        left = np.abs(columns - middle[:, None])
        spread = max(1.4826 * float(np.median(left)), LEAST_SPREAD)
        worst = left.max(axis=0) / np.float32(min(4.7 * spread, WIDEST))
        weight = np.square(np.maximum(1 - worst * worst, 0))
        total = float(weight.sum())
        if total < 10:
            break
        middle = columns @ weight / np.float32(total)
    return middle.astype(np.float64), spread, weight


def frame_step(a: SmallFrame, b: SmallFrame) -> FrameStep:
    """How b differs from a. A motion that explains less than none does is not believed."""
    found = _step(a, b, motion_between(a, b))
    if found.spread > 0.1:
        still = _step(a, b, _STILL)
        if still.spread < found.spread:
            return still
    return found


def _step(a: SmallFrame, b: SmallFrame, motion: Motion) -> FrameStep:
    stops, samples = differences(a, b, motion)
    brightness = float(b.logs[..., 1].mean() - a.logs[..., 1].mean())
    if samples < FEWEST_SAMPLES:
        return FrameStep(np.zeros(3), motion, float("inf"), 0.0, samples, brightness)
    middle, spread, weight = robust_middle(stops)
    support = float((weight > 0).mean())
    return FrameStep(middle, motion, spread, support, samples, brightness)
