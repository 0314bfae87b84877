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
from evenhand.grade.document import Steadying
from evenhand.grade.steadying import changes_nothing, row_fractions, steadied, steadied_picture
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
    frame: DecodedFrame,
    facts: ClipFacts,
    encoding: Encoding,
    longest: int | None = None,
    steadying: Steadying | None = None,
) -> Signal:
    """R'G'B' signal (h, w, 3) of a frame, upright; not longer than `longest` pixels a side.

    Shrinking averages code values: in a log or display coding that is close to averaging light, and
    it is what a small screen does. As shot, or with the clip's own changes undone by `steadying`.
    """
    source = PlaneFormat(frame.bits, frame.sub_x, frame.sub_y, encoding.range == "full")
    height, width = frame.planes[0].shape
    step = 1
    if longest is not None and max(height, width) >= 2 * longest:
        step = max(height, width) // longest // 2 * 2
    signal = planes_to_signal(frame.planes, source, MATRICES[encoding.matrix], step)
    if steadying is not None:
        rows = row_fractions(height, step)
        signal = steadied_picture(signal, encoding, steadying, seconds_of(frame, facts), rows)
    signal = _square(signal, Fraction(facts.pixel_aspect))
    signal = np.ascontiguousarray(upright(signal, facts.rotation, facts.mirrored))
    if longest is None or max(signal.shape[:2]) <= longest:
        return signal
    scale = longest / max(signal.shape[:2])
    size = (max(1, round(signal.shape[1] * scale)), max(1, round(signal.shape[0] * scale)))
    return np.asarray(cv2.resize(signal, size, interpolation=cv2.INTER_AREA), np.float32)


def seconds_of(frame: DecodedFrame, facts: ClipFacts) -> float:
    """Seconds from the clip's first shown frame to this one: what `Steadying` is keyed to."""
    return float(frame.time - facts.times[0] * Fraction(facts.time_base))


def shot_and_steadied(
    frame: DecodedFrame,
    facts: ClipFacts,
    encoding: Encoding,
    longest: int | None,
    steadying: Steadying | None,
) -> tuple[Signal, Signal]:
    """`signal_of` a frame as shot and steadied: one array twice where there is nothing to undo."""
    shot = signal_of(frame, facts, encoding, longest)
    if changes_nothing(steadying):
        return shot, shot
    return shot, signal_of(frame, facts, encoding, longest, steadying)


def _square(signal: Signal, aspect: Fraction) -> Signal:
    if aspect == 1:
        return signal
    size = (max(1, round(signal.shape[1] * aspect)), signal.shape[0])
    return np.asarray(cv2.resize(signal, size, interpolation=cv2.INTER_AREA), np.float32)


def frame_on_screen(path: Path, facts: ClipFacts, time: Fraction) -> DecodedFrame:
    """The frame that is on screen `time` seconds after the first."""
    return frame_at(path, facts.times[0] * Fraction(facts.time_base) + time, facts)


def signal_at(
    path: Path,
    facts: ClipFacts,
    encoding: Encoding,
    time: Fraction,
    steadying: Steadying | None = None,
) -> Signal:
    """Full-size signal of the frame that is on screen `time` seconds after the first."""
    frame = frame_on_screen(path, facts, time)
    return signal_of(frame, facts, encoding, steadying=steadying)


def small_signals(
    path: Path,
    facts: ClipFacts,
    encoding: Encoding,
    shares: Sequence[float],
    longest: int = LONGEST,
    steadying: Steadying | None = None,
) -> list[tuple[float, Signal]]:
    """(seconds after the first frame, small signal) of the frames at these shares of a clip."""
    return [
        (seconds_of(frame, facts), signal_of(frame, facts, encoding, longest, steadying))
        for frame in sample(path, facts, shares)
    ]


def sized_signals(
    path: Path,
    facts: ClipFacts,
    encoding: Encoding,
    shares: Sequence[float],
    longest: tuple[int, int],
    steadying: Steadying | None = None,
) -> list[tuple[float, tuple[Signal, Signal]]]:
    """As `small_signals`, each frame at two sizes, decoded once."""
    first, second = longest
    found = []
    for frame in sample(path, facts, shares):
        small = other = signal_of(frame, facts, encoding, first, steadying)
        if second != first:
            other = signal_of(frame, facts, encoding, second, steadying)
        found.append((seconds_of(frame, facts), (small, other)))
    return found


def sampled_signals(
    path: Path, facts: ClipFacts, encoding: Encoding, steadying: Steadying | None = None
) -> Signal:
    """Signals (n, 3) of single pixels from frames all over a clip: natural, with their noise.

    The extremes of every channel are among them, so that a lattice is tried at its ends too: a
    channel's steadying keeps their order, whatever it is.
    """
    parts = []
    for frame in sample(path, facts, COMPILED_FRAMES):
        signal = signal_of(frame, facts, encoding)
        pixels = signal.reshape(-1, 3)
        step = max(1, len(pixels) // COMPILED_PIXELS)
        ends = np.concatenate([pixels.argmin(axis=0), pixels.argmax(axis=0)])
        picked = np.concatenate([np.arange(step // 2, len(pixels), step), ends])
        if steadying is None:
            parts.append(pixels[picked])
            continue
        rows = _stored_rows(signal.shape[:2], facts).reshape(-1)[picked]
        steady = steadied(pixels[picked], encoding, steadying, seconds_of(frame, facts), rows)
        parts.append(steady.astype(np.float32))
    return np.concatenate(parts)


def _stored_rows(shape: tuple[int, ...], facts: ClipFacts) -> NDArray[np.float64]:
    """For every pixel of an upright picture the row it was stored in, as a fraction."""
    turned = facts.rotation % 180 != 0
    height, width = shape[::-1] if turned else shape
    stored = np.broadcast_to(row_fractions(height)[:, None], (height, width))
    return np.asarray(upright(stored, facts.rotation, facts.mirrored))
