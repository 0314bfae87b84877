"""Grey cards that a person points at: where they are, and what their light is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import msgspec
import numpy as np

from evenhand.children import Pool
from evenhand.colourmath.encodings import Encoding
from evenhand.errors import UsageError
from evenhand.grade.document import Steadying
from evenhand.grade.exact import scene_light_image
from evenhand.measure.decisions import GreySample
from evenhand.media.analysis import signal_at
from evenhand.media.records import ClipFacts
from evenhand.shoot.document import ClipEntry, GreyCardEntry, Shoot
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading

GREY_BOX = 0.012  # of the picture's width: the side of a grey sample


@dataclass(frozen=True, slots=True)
class GreyPoint:
    """Where a grey card is: seconds from the first frame, fractions of the upright picture."""

    clip: str
    time: Fraction
    x: float
    y: float


GREY = Reading("grey card", 1, GreySample, ("evenhand.jobs.greys:_measured",))


def with_greys(shoot: Shoot, points: Sequence[GreyPoint]) -> Shoot:
    """The document with these grey cards beside those of before; one a clip, the later word counts.

    Raises UsageError for clips that do not exist and points outside the picture.
    """
    kept = {g.clip: g for g in shoot.grey_cards if any(c.id == g.clip for c in shoot.clips)}
    for point in points:
        if not (0 <= point.x <= 1 and 0 <= point.y <= 1):
            raise UsageError(
                "--grey",
                f"{point.x:g},{point.y:g} is outside the picture",
                "Write fractions of width and height from the top left, such as 0.45,0.60",
            )
        clip = shoot.clip(point.clip).id
        kept[clip] = GreyCardEntry(clip, str(point.time), point.x, point.y)
    return msgspec.structs.replace(shoot, grey_cards=tuple(kept.values()))


@dataclass(frozen=True, slots=True)
class GreyCard:
    """A grey card in a clip's pictures: where a person pointed, in which file."""

    path: Path
    facts: ClipFacts
    entry: GreyCardEntry
    steadying: Steadying | None


def grey_sample(
    measurements: Measurements, pool: Pool, clip: ClipEntry, card: GreyCard
) -> GreySample:
    """The light of a grey card, once the clip's drift is levelled; measured once."""
    assert clip.encoding is not None
    encoding, entry = clip.encoding, card.entry
    depends = ((entry.seconds, entry.x, entry.y), encoding, card.steadying)

    def make() -> GreySample:
        return pool.call(str(card.path), _measured, card, encoding)

    kept = GREY.of(measurements, clip.fingerprint, make, *depends)
    return msgspec.structs.replace(kept, clip=clip.id)


def _measured(card: GreyCard, encoding: Encoding) -> GreySample:
    entry = card.entry
    signal = signal_at(card.path, card.facts, encoding, Fraction(entry.seconds), card.steadying)
    height, width = signal.shape[:2]
    half = max(2, round(GREY_BOX * width / 2))
    x, y = round(entry.x * (width - 1)), round(entry.y * (height - 1))
    box = signal[max(y - half, 0) : y + half + 1, max(x - half, 0) : x + half + 1]
    light = scene_light_image(np.ascontiguousarray(box), encoding).reshape(-1, 3)
    median = np.median(light, axis=0)
    logs = np.log2(np.maximum(light[:, 1], 1e-5))
    spread = 1.4826 * float(np.median(np.abs(logs - np.median(logs))))
    clipped = bool((box.max(axis=-1) >= 0.98).mean() > 0.01)
    r, g, b = (float(v) for v in median)
    return GreySample(entry.clip, (r, g, b), spread, clipped)
