"""Frame times: the rate of a clip, and which source frame each frame of a master shows.

Everything is exact: times are whole ticks, rates are rationals, and comparisons are made between
integers, so that nothing drifts over hours of 30000/1001.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

# SMPTE ST 2036-1 rates of moving pictures, and the higher ones that cameras record.
STANDARD_RATES: Final = (
    Fraction(24000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30000, 1001),
    Fraction(30),
    Fraction(48000, 1001),
    Fraction(48),
    Fraction(50),
    Fraction(60000, 1001),
    Fraction(60),
    Fraction(100),
    Fraction(120000, 1001),
    Fraction(120),
    Fraction(240000, 1001),
    Fraction(240),
)
# Of a frame: what a camera's clock wobbles without losing the grid. Common practice, no source.
JITTER: Final = Fraction(1, 10)
_NANOSECOND: Final = Fraction(1, 10**9)
_SAFE: Final = 1 << 61  # products below this fit in 64 bits, differences too


@dataclass(frozen=True, slots=True)
class ConformPlan:
    """Which source frame each output frame shows.

    `index[n]` is the source frame of output frame n, never falling. `repeated` output frames show
    the same source as the one before; `dropped` source frames are never shown. `worst_error` is the
    largest distance in seconds between when a frame was shot and when it is shown. `untouched`:
    every source frame once, in order.
    """

    index: NDArray[np.int64]
    rate: Fraction
    repeated: int
    dropped: int
    worst_error: float

    @property
    def untouched(self) -> bool:
        return self.repeated == 0 and self.dropped == 0

    def uses(self, frames: int) -> NDArray[np.int64]:
        """How many times each of the `frames` source frames is shown: what an encoder goes by."""
        return np.bincount(self.index, minlength=frames)


def conform(
    times: Sequence[int] | Sequence[float],
    rate: Fraction,
    time_base: Fraction | None = None,
    last: int | None = None,
) -> ConformPlan:
    """The nearest source frame, by presentation time, for each output frame at `rate`.

    `times` are rising ticks of `time_base`, or seconds (kept to the nanosecond) without one. `last`
    is how many ticks the last frame lasts; without it, as long as the median frame, and a clip of
    one frame gives one frame. The output begins with the first frame and is as long as the clip, to
    the nearest frame. Halfway between two frames the earlier is shown.
    """
    if time_base is None:
        times = [round(Fraction(t) / _NANOSECOND) for t in times]
        time_base = _NANOSECOND
    ticks = [int(t) - int(times[0]) for t in times]
    if any(b <= a for a, b in itertools.pairwise(ticks)):
        raise ValueError("times must rise")
    period = 1 / (rate * time_base)  # of an output frame, in ticks
    tail = last if last is not None else _median_gap(ticks, period)
    count = max(round((ticks[-1] + tail) / period), 1)
    # In units of ticks over the period's denominator every time and every slot is whole.
    source = _whole(ticks, period.denominator, period.numerator * count)
    slots = np.arange(count, dtype=source.dtype) * period.numerator
    index = _nearest(source, slots)
    worst = int(np.abs(source[index] - slots).max())
    return ConformPlan(
        index=index,
        rate=rate,
        repeated=int((np.diff(index) == 0).sum()),
        dropped=len(ticks) - len(np.unique(index)),
        worst_error=float(worst * time_base / period.denominator),
    )


def _whole(ticks: list[int], scale: int, farthest: int) -> NDArray[Any]:
    # Python's own integers where 64 bits might not hold the products.
    fits = max(ticks[-1] * scale, farthest) < _SAFE
    return np.array([t * scale for t in ticks], np.int64 if fits else object)


def _nearest(source: NDArray[Any], slots: NDArray[Any]) -> NDArray[np.int64]:
    if len(source) == 1:
        return np.zeros(len(slots), np.int64)
    after = np.clip(np.searchsorted(source, slots), 1, len(source) - 1)
    earlier = slots - source[after - 1] <= source[after] - slots
    return np.where(earlier, after - 1, after).astype(np.int64)


def _median_gap(ticks: list[int], period: Fraction) -> Fraction:
    if len(ticks) < 2:
        return period
    return Fraction(int(np.median(np.diff(np.array(ticks, object)).astype(np.float64))))


def nominal_rate(times: Sequence[int], time_base: Fraction) -> tuple[Fraction, bool]:
    """The rate of a clip in frames a second, and whether it is constant.

    Constant: there is a grid, of a standard rate or of the mean rate, that no frame is further from
    than a tenth of a frame or one tick. Otherwise the mean rate, exactly. One frame: 25, constant.
    """
    if len(times) < 2:
        return Fraction(25), True
    mean = Fraction(len(times) - 1) / ((times[-1] - times[0]) * time_base)
    ticks = np.asarray(times, np.int64) - times[0]
    near = [rate for rate in STANDARD_RATES if abs(rate / mean - 1) < Fraction(1, 50)]
    errors = {rate: _deviation(ticks, 1 / (rate * time_base)) for rate in near}
    best = min(near, key=lambda rate: errors[rate], default=mean)
    period = 1 / (best * time_base)
    if errors.get(best, np.inf) <= max(1.0, float(JITTER * period)):
        return best, True
    return mean, _deviation(ticks, 1 / (mean * time_base)) <= 1.0


def usual_rate(times: Sequence[int], time_base: Fraction) -> Fraction:
    """The standard rate nearest to the median gap: what a variable-rate clip was meant to be."""
    if len(times) < 2:
        return Fraction(25)
    gap = Fraction(float(np.median(np.diff(np.asarray(times, np.int64))))) * time_base
    return min(STANDARD_RATES, key=lambda rate: abs(rate * gap - 1))


def _deviation(ticks: NDArray[np.int64], period: Fraction) -> float:
    """How far the worst frame is from the best grid of that period, in ticks."""
    off = ticks - np.arange(len(ticks)) * float(period)
    return float(off.max() - off.min()) / 2
