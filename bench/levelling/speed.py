"""How long levelling a UHD clip takes once its frames are decoded, step by step."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np

from bench.levelling.made import camera
from bench.levelling.sources import program
from evenhand.colourmath.encodings import named
from evenhand.grade.exact import scene_light_image
from evenhand.measure.chart import find_chart
from evenhand.measure.matching import match_clips
from evenhand.measure.views import AnalysisFrame, Features, features
from evenhand.media.analysis import signal_of
from evenhand.media.decode import DecodedFrame

ENCODING = named("phone-log-1")
UHD = (3840, 2160)
SIZES = (640, 1280)
KS = (3, 5)


def report(rounds: int) -> list[str]:
    """Milliseconds of each step for one frame, and of whole clips on two threads."""
    frames = [_decoded(n) for n in range(max(KS))]
    facts = SimpleNamespace(
        pixel_aspect="1/1", rotation=0, mirrored=False, times=(0,), time_base="1/25"
    )
    light = lambda s: scene_light_image(np.ascontiguousarray(s), ENCODING)  # noqa: E731
    small, large = (signal_of(frames[0], facts, ENCODING, s) for s in SIZES)
    seen = features(AnalysisFrame(small, light(small), 1.0, 0.004))
    steps: dict[str, Callable[[], object]] = {
        "UHD frame to 640 and 1280 pixels": lambda: [
            signal_of(frames[0], facts, ENCODING, s) for s in SIZES
        ],
        "to scene light": lambda: light(small),
        "key points": lambda: features(AnalysisFrame(small, light(small), 1.0, 0.004)),
        "looking for a chart where there is none": lambda: find_chart(large, light, 1.0),
        "matching two clips of five frames": lambda: match_clips([seen] * 5, [seen] * 5),
    }
    lines = [
        "## Time",
        "",
        "A UHD 10-bit clip, milliseconds, median; one thread but for the last rows.",
        "",
        "| step | ms |",
        "|---|---|",
    ]
    lines += [f"| {name} | {_median(step, rounds):.0f} |" for name, step in steps.items()]
    for k in KS:
        took = _median(lambda n=k: _clip(frames[:n], facts, seen), max(rounds // 2, 1))
        told = f"a clip of {k} frames: chart, key points, match to its reference; two threads"
        lines.append(f"| {told} | {took:.0f} |")
    return [*lines, ""]


def _clip(frames: list[DecodedFrame], facts: Any, reference: Features) -> None:
    with ThreadPoolExecutor(2) as pool:
        views = list(pool.map(lambda f: _view(f, facts), frames))
    match_clips([reference] * len(frames), views)


def _view(frame: DecodedFrame, facts: Any) -> Features:
    small, large = (signal_of(frame, facts, ENCODING, s) for s in SIZES)

    def light(signal: np.ndarray) -> np.ndarray:
        return scene_light_image(np.ascontiguousarray(signal), ENCODING)

    find_chart(large, light, 1.0)
    return features(AnalysisFrame(small, light(small), 1.0, 0.004))


def _median(step: Callable[[], object], rounds: int) -> float:
    step()
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        step()
        taken.append(time.perf_counter() - start)
    return 1e3 * float(np.median(taken))


def _decoded(number: int) -> DecodedFrame:
    """A UHD frame as a decoder gives it: three planes of 10-bit codes."""
    rng = np.random.default_rng(number)
    view = camera.View(x=0.5 + 0.01 * number, share=0.9).of(program(1)[0], (960, 540), rng)
    signal = camera.record(view, camera.Fault(), rng).signal
    full = cv2.resize(signal, UHD, interpolation=cv2.INTER_CUBIC).astype(np.float32)
    y = cv2.transform(full, np.array([[0.2627, 0.6780, 0.0593]], np.float32))
    planes = [np.clip(np.round(64 + 876 * y), 0, 1023).astype(np.uint16)]
    for channel, scale in ((2, 1.8814), (0, 1.4746)):
        half = cv2.resize((full[..., channel] - y) / scale, (UHD[0] // 2, UHD[1] // 2))
        planes.append(np.clip(np.round(512 + 896 * half), 0, 1023).astype(np.uint16))
    first, second, third = planes
    return DecodedFrame((first, second, third), 10, 2, 2, number, Fraction(number, 25))
