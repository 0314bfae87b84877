"""Clips by program: a view that moves over a scene, what happens in it, and a camera that drifts.

Built on the simulated camera beside this file. `measured` puts evenhand's own parts together as the
job does, without a file between.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from simulated_camera import Fault, Recording, View, record

from evenhand.colourmath.encodings import Encoding, named
from evenhand.grade.document import Steadying
from evenhand.grade.exact import scene_light_image
from evenhand.grade.steadying import channel_gains
from evenhand.measure import ratios
from evenhand.measure.matching import match
from evenhand.measure.steady.framesteps import SmallFrame, frame_step, small_frame
from evenhand.measure.steady.lightcurve import LightCurve, anchor_of, light_curve
from evenhand.measure.views import AnalysisFrame, features

SIZE = (384, 216)
SMALL = (160, 90)
ENCODINGS = {"phone-log": named("phone-log-1"), "hlg": named("hlg"), "bt709": named("bt709")}
RED_COAT = np.float32([0.35, 0.2, 0.12])

Happening = Callable[[np.ndarray, float], np.ndarray]


def nothing(picture: np.ndarray, share: float) -> np.ndarray:
    """What happens in most clips."""
    return picture


def crossing(picture: np.ndarray, share: float) -> np.ndarray:
    """Somebody in red crosses the picture from left to right; share is the share of the clip."""
    h, w = picture.shape[:2]
    return _figure(picture, (int(w * share), int(0.61 * h)), (w * 60 // 640, h * 110 // 360))


def coming_near(picture: np.ndarray, share: float) -> np.ndarray:
    """Somebody in red walks up to the lens, to half of the picture."""
    h, w = picture.shape[:2]
    size = 0.08 + 0.34 * share
    return _figure(picture, (w // 2, int(0.6 * h)), (int(size * w * 0.8), int(size * h * 1.5)))


def _figure(picture: np.ndarray, centre: tuple[int, int], axes: tuple[int, int]) -> np.ndarray:
    mask = np.zeros(picture.shape[:2], np.float32)
    cv2.ellipse(mask, centre, axes, 0, 0, 360, 1.0, -1)
    return picture * (1 - mask[..., None]) + mask[..., None] * RED_COAT


@dataclass(frozen=True)
class Clip:
    """A clip: faults of its frames, how the view moves over the scene, and what happens in it.

    `seconds` are the presentation times; `path` gives a view for a share 0..1 of the clip.
    """

    scene: np.ndarray
    seconds: np.ndarray
    faults: Sequence[Fault]
    path: Callable[[float], View] = field(default=lambda share: View(share=0.62))
    happens: Happening = nothing
    curve: str = "phone-log"
    seed: int = 0
    size: tuple[int, int] = SIZE

    def frames(self) -> Iterator[Recording]:
        """What the camera recorded."""
        rng = np.random.default_rng(self.seed)
        last = max(len(self.seconds) - 1, 1)
        for n, fault in enumerate(self.faults):
            view = self.path(n / last).of(self.scene, self.size, rng)
            picture = self.happens(view, n / last).astype(np.float32)
            yield record(picture, fault, rng, self.curve)

    def neutral(self) -> np.ndarray:
        """log2 linear BT.2020 of a D65 neutral in each frame (n, 3)."""
        return np.array([np.log2(fault.matrix() @ np.ones(3)) for fault in self.faults])


def panning(share: float) -> View:
    """A pan by a quarter of the scene's width, hand-held."""
    return View(x=0.38 + 0.24 * share, y=0.5 + 0.03 * np.sin(8 * share), share=0.62)


def automatic(count: int, seed: int, white: float = 18.0) -> list[Fault]:
    """Faults as automatics make them: a random walk with one step of exposure, and white drift."""
    rng = np.random.default_rng(seed)
    stops = np.cumsum(rng.normal(0, 0.02, count))
    start = rng.integers(count // 4, count // 2)
    stops += np.clip((np.arange(count) - start) / 12, 0, 1) * rng.choice([-0.7, 0.6])
    mired = np.linspace(0, rng.normal(0, white), count)
    return [Fault(float(s), float(m)) for s, m in zip(stops, mired, strict=True)]


def measured(
    recordings: Iterable[Recording],
    seconds: np.ndarray,
    encoding: Encoding,
    every: int = 12,
    key: int | None = None,
) -> LightCurve:
    """The light of a clip: a step a frame, an anchor every so many frames."""
    count = len(seconds)
    key = count // 2 if key is None else key
    smalls: list[SmallFrame] = []
    views = {}
    for n, recording in enumerate(recordings):
        small = cv2.resize(recording.signal, SMALL, interpolation=cv2.INTER_AREA)
        smalls.append(small_frame(small, encoding, recording.clip_level, float(seconds[n])))
        if n % every == 0 or n in (key, count - 1):
            light = scene_light_image(recording.signal, encoding)
            frame = AnalysisFrame(recording.signal, light, recording.clip_level, 0.004, 0.0)
            views[n] = features(frame)
    steps = [frame_step(a, b) for a, b in pairwise(smalls)]
    found = [(n, match(views[key], view)) for n, view in views.items() if n != key]
    anchors = [anchor_of(n, m, encoding.primaries) for n, m in found]
    kept = [a for a in anchors if a is not None]
    return light_curve(seconds, steps, kept, key, encoding.primaries)


def left_over(
    steadying: Steadying | None, clip: Clip, encoding: Encoding, reference: int
) -> np.ndarray:
    """Stops and mired (n, 2) by which a neutral still differs from the reference moment."""
    true = clip.neutral()
    left = []
    for n, seconds in enumerate(clip.seconds):
        undone = np.zeros(3)
        if steadying is not None:
            undone = channel_gains(steadying, encoding, float(seconds))
        gains = ratios.gains_of(np.exp2(true[n] - true[reference] + undone))
        difference = ratios.difference_of(gains)
        left.append((difference.stops, difference.mired))
    return np.array(left)
