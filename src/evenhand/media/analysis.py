"""Pictures of a clip made ready for measuring: signal, upright, at the size that is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.ycbcr import MATRICES
from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.planes import planes_to_signal
from evenhand.media.decode import DecodedFrame, frame_at, sample
from evenhand.media.orientation import upright
from evenhand.media.records import ClipFacts

Signal = NDArray[np.float32]

LONGEST: Final = 640
# Frames and pixels a compiled grade is measured on: a picture changes little inside a clip.
COMPILED_FRAMES: Final = (0.02, 0.2, 0.4, 0.6, 0.8, 0.98)
COMPILED_PIXELS: Final = 20_000


def signal_of(
    frame: DecodedFrame, facts: ClipFacts, encoding: Encoding, longest: int | None = None
) -> Signal:
    """R'G'B' signal (h, w, 3) of a frame, upright; not longer than `longest` pixels a side.

    Shrinking averages code values: in a log or display coding that is close to averaging light, and
    it is what a small screen does.
    """
    source = PlaneFormat(frame.bits, frame.sub_x, frame.sub_y, encoding.range == "full")
    height, width = frame.planes[0].shape
    step = 1
    if longest is not None and max(height, width) >= 2 * longest:
        step = max(height, width) // longest // 2 * 2
    signal = planes_to_signal(frame.planes, source, MATRICES[encoding.matrix], step)
    signal = _square(signal, Fraction(facts.pixel_aspect))
    signal = np.ascontiguousarray(upright(signal, facts.rotation, facts.mirrored))
    if longest is None or max(signal.shape[:2]) <= longest:
        return signal
    scale = longest / max(signal.shape[:2])
    size = (max(1, round(signal.shape[1] * scale)), max(1, round(signal.shape[0] * scale)))
    return np.asarray(cv2.resize(signal, size, interpolation=cv2.INTER_AREA), np.float32)


def _square(signal: Signal, aspect: Fraction) -> Signal:
    if aspect == 1:
        return signal
    size = (max(1, round(signal.shape[1] * aspect)), signal.shape[0])
    return np.asarray(cv2.resize(signal, size, interpolation=cv2.INTER_AREA), np.float32)


def signal_at(path: Path, facts: ClipFacts, encoding: Encoding, time: Fraction) -> Signal:
    """Full-size signal of the frame that is on screen `time` seconds after the first."""
    start = facts.times[0] * Fraction(facts.time_base)
    return signal_of(frame_at(path, start + time, facts), facts, encoding)


def small_signals(
    path: Path,
    facts: ClipFacts,
    encoding: Encoding,
    shares: Sequence[float],
    longest: int = LONGEST,
) -> list[tuple[float, Signal]]:
    """(seconds after the first frame, small signal) of the frames at these shares of a clip."""
    start = facts.times[0] * Fraction(facts.time_base)
    return [
        (float(frame.time - start), signal_of(frame, facts, encoding, longest))
        for frame in sample(path, facts, shares)
    ]


def sized_signals(
    path: Path,
    facts: ClipFacts,
    encoding: Encoding,
    shares: Sequence[float],
    longest: tuple[int, int],
) -> list[tuple[float, tuple[Signal, Signal]]]:
    """As `small_signals`, each frame at two sizes, decoded once."""
    start = facts.times[0] * Fraction(facts.time_base)
    first, second = longest
    found = []
    for frame in sample(path, facts, shares):
        small = signal_of(frame, facts, encoding, first)
        other = small if second == first else signal_of(frame, facts, encoding, second)
        found.append((float(frame.time - start), (small, other)))
    return found


def sampled_signals(path: Path, facts: ClipFacts, encoding: Encoding) -> Signal:
    """Signals (n, 3) of single pixels from frames all over a clip: natural, with their noise.

    The extremes of every channel are among them, so that a lattice is tried at its ends too.
    """
    parts = []
    for frame in sample(path, facts, COMPILED_FRAMES):
        pixels = signal_of(frame, facts, encoding).reshape(-1, 3)
        step = max(1, len(pixels) // COMPILED_PIXELS)
        ends = np.concatenate([pixels.argmin(axis=0), pixels.argmax(axis=0)])
        parts += [pixels[step // 2 :: step], pixels[ends]]
    return np.concatenate(parts)
