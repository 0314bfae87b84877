"""A clip as grouping and levelling see it: a few frames, and simple numbers of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenhand.colourmath.encodings import Encoding
from evenhand.measure.summary import Summary, summarise
from evenhand.measure.views import CLIP_MARGIN, AnalysisFrame, Features


@dataclass(frozen=True, slots=True)
class PictureNumbers:
    """Simple facts of a clip's pictures: shares clipped and in noise, middle light, length.

    `off_neutral` is by how many mireds its greys seem to be off D65, None where that cannot be
    told; `chart` whether a 24-patch chart was found in it.
    """

    clipped: float
    crushed: float
    middle: float
    seconds: float
    off_neutral: float | None = None
    chart: bool = False


@dataclass(frozen=True, slots=True)
class ClipView:
    """A clip as grouping and levelling see it: five frames from 10 % to 90 % of its length.

    `created` is in seconds on any one clock, or None; `order` is the place on the card. `features`
    may be a sequence that loads itself when it is first looked into; `summary` is what was kept of
    it, where it was measured before.
    """

    id: str
    created: float | None
    order: int
    encoding: Encoding
    features: Sequence[Features]
    numbers: PictureNumbers
    summary: Summary | None = None


def summary_of(clip: ClipView) -> Summary:
    """What is kept of a clip's frames: as it was measured, or measured now."""
    return clip.summary if clip.summary is not None else summarise(clip.features)


def picture_numbers(
    frames: Sequence[AnalysisFrame],
    seconds: float,
    off_neutral: float | None = None,
    chart: bool = False,
) -> PictureNumbers:
    """Measures a clip's analysis frames; `seconds` is the clip's length."""
    if not frames:
        return PictureNumbers(0.0, 1.0, 0.0, seconds)
    clipped = [(f.signal.max(axis=-1) >= f.clip_level - CLIP_MARGIN).mean() for f in frames]
    crushed = [(f.light.max(axis=-1) <= f.floor).mean() for f in frames]
    middle = [np.median(f.light[..., 1]) for f in frames]
    return PictureNumbers(
        float(np.mean(clipped)),
        float(np.mean(crushed)),
        float(np.mean(middle)),
        seconds,
        off_neutral,
        chart,
    )
