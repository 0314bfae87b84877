"""How much of a picture is lost at its two ends: clipped in the lights, crushed in the darks.

Codes are 10-bit narrow codes of the signal as shot, before any correction: exposure and white
applied afterwards neither lose nor bring back anything there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.ycbcr import rgb_to_ycc
from evenhand.measure.scopes import LEVEL_PERCENT, Counts, measure_scopes

Signal = NDArray[np.float32]

# Noise and the overshoot of subsampled chroma spread a clip over some codes on both sides.
CLIP_SPREAD: Final = 5
CRUSH_SPREAD: Final = 2
GREY: Final = 0.18

# A clip is a spike in the histogram: so much of the picture in 9 codes, so much denser than the
# codes below it, and so little above it. The limits were set on photographs that were clipped on
# purpose.
_HALF, _SEARCH = 4, 80
_LEAST_SHARE, _LEAST_RISE, _MOST_ABOVE = 3e-4, 3.0, 0.15
_LEAST_LIGHT = 0.5  # scene light that a camera can hold at the very least (judgement)
_WHITE, _LAST = 940, (1019 - 64) / 876  # codes of BT.709 and BT.2100: 100 %, and the last of video


class Ends(msgspec.Struct, frozen=True):
    """What is lost at the ends. Levels are percent of signal, shares percent of the picture.

    `clip_from` says whether the clip level was seen in the picture as a spike ("picture") or is the
    end of the encoding ("encoding"). `clip_stops` is the light at the clip in stops above the 18 %
    grey card. `clipped` counts pixels with a channel at the clip, `crushed` those whose luma is at
    the code of no light.
    """

    clip_level: float
    clip_from: Literal["picture", "encoding"]
    clip_stops: float
    clipped: float
    black_level: float
    crushed: float


class WorstMoment(msgspec.Struct, frozen=True):
    """The sampled frame that lost most: seconds after the first frame, percent of the picture."""

    seconds: float
    percent: float


class EndsOverTime(msgspec.Struct, frozen=True, kw_only=True):
    """What a clip has lost at its ends, frame by frame of those sampled, as shot.

    Levels are as in `Ends`: one clip level holds for the whole clip, from the histograms of all
    its sampled frames together. `seconds` are after the first frame; `clipped` and `crushed` are
    percent of the picture at these times. Levelling changes none of it.
    """

    clip_level: float
    clip_from: Literal["picture", "encoding"]
    clip_stops: float
    black_level: float
    seconds: tuple[float, ...]
    clipped: tuple[float, ...]
    crushed: tuple[float, ...]
    worst_clipped: WorstMoment
    worst_crushed: WorstMoment


def clip_code(histogram: NDArray[np.integer] | Counts) -> int | None:
    """The code at which the lights pile up, or None.

    histogram (3, 1024) or (4, 1024) with luma first, as `Scopes.histogram`; pool the frames of a
    clip, since the level is one for all of them. The spike of strongest mass wins. White that was
    clipped before the camera (a lamp in the picture, a title) makes a spike too.
    """
    counts = np.asarray(histogram[-3:], np.float64).sum(axis=0)
    total = counts.sum()
    running = np.concatenate([[0.0], np.cumsum(counts)])
    top = int(np.flatnonzero(counts)[-1]) if total else 0
    best, found = 0.0, None
    for code in range(max(top - _SEARCH, 34), top + 1):
        end = min(code + _HALF + 1, len(counts))
        mass = running[end] - running[code - _HALF]
        base = (running[code - 9] - running[code - 34]) * 9.0 / 25.0
        above = total - running[min(code + 13, len(counts))]
        is_spike = mass >= max(_LEAST_SHARE * total, _LEAST_RISE * base)
        if is_spike and above <= _MOST_ABOVE * mass and mass > best:
            best, found = mass, code
    return None if found is None else _middle(counts, found)


def _middle(counts: NDArray[np.float64], code: int) -> int:
    """The median code of the spike: every window that holds all of it is as heavy as the next."""
    low, high = code - _HALF, min(code + _HALF + 1, len(counts))
    base = counts[low - 25 : low].mean() if low >= 25 else 0.0
    spike = np.maximum(counts[low:high] - base, 0.0)
    running = np.cumsum(spike)
    return low + int(np.searchsorted(running, running[-1] / 2))


def measure_ends(signal: NDArray[np.floating], encoding: Encoding, clip: int | None = None) -> Ends:
    """What one picture (h, w, 3) in signal has lost.

    `clip` is the code from `clip_code`, where the picture shows one.
    """
    level = 1.0 if clip is None else float(LEVEL_PERCENT[clip]) / 100.0
    return _ends(signal, encoding, level, clip)


def _ends(signal: NDArray[np.floating], encoding: Encoding, level: float, clip: int | None) -> Ends:
    transfer = transfer_of(encoding)
    matrix = _matrix(encoding)
    black = float(transfer.to_signal(np.zeros(3), encoding.range)[1])
    light = _light_at(level, encoding)
    picture = np.asarray(signal, np.float32)
    luma = picture @ rgb_to_ycc(matrix)[0].astype(np.float32)
    return Ends(
        clip_level=round(100.0 * level, 3),
        clip_from="encoding" if clip is None else "picture",
        clip_stops=round(float(np.log2(light / GREY)), 3),
        clipped=_percent(picture.max(axis=-1) >= _below(level, CLIP_SPREAD)),
        black_level=round(100.0 * black, 3),
        crushed=_percent(luma <= _below(black, -CRUSH_SPREAD)),
    )


def _matrix(encoding: Encoding) -> str:
    return "bt709" if encoding.matrix == "rgb" else encoding.matrix


def _below(level: float, codes: int) -> np.float32:
    # half a code of allowance for the rounding of the codes that the signal came from
    return np.float32(level - (codes + np.copysign(0.5, codes)) / 876.0)


def _percent(mask: NDArray[np.bool_]) -> float:
    return round(100.0 * float(mask.mean()), 4)


def pooled_clip(signals: Sequence[Signal], encoding: Encoding) -> int | None:
    """The code at which a clip's frames pile up, or None; signals (h, w, 3) of the same clip.

    What piles up in the darks or the middle (a black clip, a grey card) is no clip.
    """
    return _spike(_pooled(signals, encoding), encoding) if signals else None


def clip_level(signals: Sequence[Signal], encoding: Encoding) -> float:
    """The signal above which a pixel of the clip is clipped: at the spike, or at the end.

    Where narrow codes above 100 % carry picture and no spike, that end is the last code for them.
    """
    histogram = _pooled(signals, encoding) if signals else np.zeros((4, 1024), np.int64)
    return _level(histogram, _spike(histogram, encoding))


def ends_over_time(frames: Sequence[tuple[float, Signal]], encoding: Encoding) -> EndsOverTime:
    """Clipped and crushed shares of a clip's frames (seconds, signal), the clip level in common.

    Raises ValueError where there is no frame.
    """
    if not frames:
        raise ValueError("expected at least one frame")
    histogram = _pooled([signal for _, signal in frames], encoding)
    code = _spike(histogram, encoding)
    found = [_ends(signal, encoding, _level(histogram, code), code) for _, signal in frames]
    times = tuple(round(time, 4) for time, _ in frames)
    clipped = tuple(end.clipped for end in found)
    crushed = tuple(end.crushed for end in found)
    return EndsOverTime(
        clip_level=found[0].clip_level,
        clip_from=found[0].clip_from,
        clip_stops=found[0].clip_stops,
        black_level=found[0].black_level,
        seconds=times,
        clipped=clipped,
        crushed=crushed,
        worst_clipped=_worst(times, clipped),
        worst_crushed=_worst(times, crushed),
    )


def _worst(times: tuple[float, ...], percent: tuple[float, ...]) -> WorstMoment:
    place = int(np.argmax(percent))
    return WorstMoment(times[place], percent[place])


def _pooled(signals: Sequence[Signal], encoding: Encoding) -> NDArray[np.int64]:
    matrix = _matrix(encoding)
    counts = [measure_scopes(signal, matrix).histogram.astype(np.int64) for signal in signals]
    return np.asarray(sum(counts), np.int64)


def _spike(histogram: NDArray[np.int64], encoding: Encoding) -> int | None:
    code = clip_code(histogram)
    if code is None or _light_at(float(LEVEL_PERCENT[code]) / 100.0, encoding) < _LEAST_LIGHT:
        return None
    return code


def _light_at(level: float, encoding: Encoding) -> float:
    return float(transfer_of(encoding).to_light(np.full(3, level), encoding.range)[1])


def _level(histogram: NDArray[np.integer], code: int | None) -> float:
    """The clip level as a signal: of the spike, else the end of what the encoding is used for."""
    if code is not None:
        return float(LEVEL_PERCENT[code]) / 100.0
    counts = np.asarray(histogram[-3:], np.float64).sum(axis=0)
    beyond = counts[_WHITE + CLIP_SPREAD + 1 :].sum()
    return _LAST if beyond > _LEAST_SHARE * counts.sum() else 1.0
