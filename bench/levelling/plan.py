"""The parts of the bench, and how large each is."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import cv2

from bench.levelling import demo, frames, harm, matching, reliability, single

Part = Callable[[], list[str]]


def parts(quick: bool) -> dict[str, Part]:
    """What can be run, by name; a quick run has a fifth of the cases."""
    scenes = 4 if quick else 12
    return {
        "matching": partial(matching.report, 6 if quick else 30, scenes),
        "single": partial(single.report, 6 if quick else 40, scenes),
        "harm": partial(harm.report, scenes, 16 if quick else 56),
        "reliability": partial(reliability.report, 15 if quick else 100, scenes),
        "frames": partial(frames.report, 4 if quick else 20, scenes),
        "demo": partial(demo.report, (640, 360) if quick else (960, 540)),
    }


def alone(part: Part) -> list[str]:
    """One part, on one thread."""
    cv2.setNumThreads(1)
    return part()
