"""A master that is there, verified as if it had just been written, without writing it again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from evenhand.measure.timing import ConformPlan
from evenhand.media.decode import FrameSource
from evenhand.media.encode import MasterOrder
from evenhand.media.pipeline import Grading, graded
from evenhand.media.pixels import Planes
from evenhand.media.verify import Check, Verification, unread, verify_master


def verify_anew(
    path: Path,
    order: MasterOrder,
    grading: Grading,
    plan: ConformPlan,
    progress: Callable[[int], None] | None = None,
) -> Verification:
    """Verify a master against what its order and its clip's grade mean now.

    All of it is decoded and every check made that `verify_master` makes, but the order of frames,
    which only whoever wrote them knows; the frames compared are graded anew from the original.
    `order.mark` is the mark that it must carry. Raises ClipError where the original cannot be read.
    """
    samples = graded_samples(order, grading, plan)
    if not samples:  # nothing of the picture would be compared
        return unread(Check("compared frames", str(len(order.compared)), "0", False))
    return verify_master(path, order.expectation(), samples, progress=progress)


def graded_samples(order: MasterOrder, grading: Grading, plan: ConformPlan) -> dict[int, Planes]:
    """The planes of the frames of a master that are compared, as they are given to its encoder.

    A frame that cannot be decoded, for which a neighbour stands in, is left out.
    """
    samples: dict[int, Planes] = {}

    def blank() -> Planes:
        return grading.target.empty(grading.height, grading.width)

    with FrameSource(grading.clip) as source:
        for number in order.compared:
            shown = int(plan.index[number])
            frame = source.at(grading.facts.times[shown])
            if frame.pts == grading.facts.times[shown]:
                # A picture that is shown again keeps the dither of its first time.
                first = int(np.searchsorted(plan.index, shown))
                samples[number] = graded(grading, frame, first, blank)
    return samples
