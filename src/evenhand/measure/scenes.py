"""Whether a clip changes scene: its sampled frames fall into parts that share nothing."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import msgspec
import numpy as np

from evenhand.measure.colours import colour_histogram, colour_likeness
from evenhand.measure.views import LEAST_INLIERS, Features, register

LEAST_POINTS: Final = 60  # key points; with fewer a frame may share nothing with anything
UNLIKE: Final = 0.75  # correlation of the colours under which two parts are two scenes (judgement)


class SceneChange(msgspec.Struct, frozen=True):
    """Between which two sampled frames the scene changes: seconds after the first frame."""

    after: float
    before: float


def scene_change(frames: Sequence[Features]) -> SceneChange | None:
    """The change of scene inside a clip, or None where there is none to be sure of.

    Either side of it the frames have views in common (one frame alone counts at most on one side),
    none across, and the colours differ. A camera that walks on has other frames, not two heaps.
    """
    if len(frames) < 3 or any(len(f.points) < LEAST_POINTS for f in frames):
        return None
    shared = [_share(a, b) for a, b in pairwise(frames)]
    if shared.count(False) != 1:
        return None
    cut = shared.index(False) + 1
    left, right = frames[:cut], frames[cut:]
    if any(_share(a, b) for a in left for b in right):
        return None
    first, second = colour_histogram(left), colour_histogram(right)
    if first is None or second is None:
        return None
    if colour_likeness(first, second).as_shot > UNLIKE:
        return None
    return SceneChange(left[-1].time, right[0].time)


def _share(a: Features, b: Features) -> bool:
    view = register(a, b)
    return view is not None and view.inliers >= LEAST_INLIERS and view.ratio >= 0.25


def is_monochrome(frames: Sequence[Features]) -> bool:
    """Whether the lit pixels of all frames have no colour: R, G and B within 2 % of each other."""
    light = [f.light[f.valid][::7].astype(np.float32) for f in frames]
    lit = np.concatenate(light) if light else np.zeros((0, 3), np.float32)
    if len(lit) < 100:
        return False
    spread = lit.max(axis=1) / np.maximum(lit.min(axis=1), 1e-6)
    return float(np.quantile(spread, 0.98)) < 1.02
