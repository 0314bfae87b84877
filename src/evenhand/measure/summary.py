"""What is kept of a clip's frames once they were looked at: little, and enough to decide by.

The frames themselves are needed only to compare two clips for the first time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.measure.colours import colour_histogram, tone_deciles
from evenhand.measure.decisions import Proposal
from evenhand.measure.matching import FEW
from evenhand.measure.views import Features
from evenhand.measure.whites import propose_white


@dataclass(frozen=True, slots=True)
class Summary:
    """A clip's colours (as `colour_histogram`), its tones (log2 green at the deciles), the white
    that its own pixels propose, and the strongest descriptors (n, 128) of its middle frame.
    """

    colours: NDArray[np.float64] | None
    tones: NDArray[np.float64]
    white: Proposal | None
    descriptors: NDArray[np.uint8]


def summarise(frames: Sequence[Features]) -> Summary:
    """The summary of a clip's frames."""
    if not frames:
        return Summary(None, tone_deciles(()), None, np.zeros((0, 128), np.uint8))
    return Summary(
        colours=colour_histogram(frames),
        tones=tone_deciles(frames),
        white=propose_white(frames),
        descriptors=frames[len(frames) // 2].descriptors[:FEW],
    )
