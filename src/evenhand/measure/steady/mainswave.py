"""A wave of mains light fitted to what the rows of a picture differ by over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.measure.steady.framesteps import Array, SmallFrame, motion_between, row_differences

GRID_WANDER: Final = 0.4  # hertz about a lamp's: grids keep within 0.2 Hz of 50, clocks err less
READOUT: Final = (0.004, 0.034)  # seconds from the first row to the last
FAINT_FIT: Final = 0.25  # R² under which a search goes no further
LONGEST_LAG: Final = 15  # frames
LEAST_ROW: Final = 12  # pixels that a row has to have
# Mean square of what a wave of one stop has to change by between the frames compared. Bands that
# stand still change by nothing, and any wave would fit.
LEAST_CHANGE: Final = 0.02
_LEAST_ROWS: Final = 50


@dataclass(frozen=True, slots=True)
class RowChanges:
    """What rows differ by from one frame to another: stops, times and places of both, (n,) each.

    `pair` numbers the pairs of frames, `window` the run of frames that each belongs to.
    """

    stops: Array
    seconds: Array
    seconds_before: Array
    rows: Array
    rows_before: Array
    pair: NDArray[np.intp]
    window: NDArray[np.intp]

    def only(self, mask: NDArray[np.bool_]) -> RowChanges:
        """Those of the mask, with their pairs numbered anew."""
        kept = {f.name: getattr(self, f.name)[mask] for f in fields(self)}
        kept["pair"] = np.unique(kept["pair"], return_inverse=True)[1]
        return RowChanges(**kept)


@dataclass(frozen=True, slots=True)
class Wave:
    """A fitted ripple: R², and what the rows differ by once it is gone."""

    hertz: float
    readout: float
    cosine: float
    sine: float
    fit: float

    @property
    def strength(self) -> float:
        return float(np.hypot(self.cosine, self.sine))


def row_changes(windows: Sequence[Sequence[SmallFrame]], lag: int, rows: Array) -> RowChanges:
    """Rows compared over `lag` frames, in each run of consecutive frames.

    rows (h,): where the rows of a small frame lie, as fractions of the stored height.
    """
    step = float(rows[1] - rows[0])
    parts: list[tuple[Array, ...]] = []
    numbers: list[tuple[int, int, int]] = []
    for number, frames in enumerate(windows):
        for a, b in zip(frames, frames[lag:], strict=False):
            found = row_differences(a, b, motion_between(a, b, level_rows=True))
            keep = found.samples >= LEAST_ROW
            count = int(np.count_nonzero(keep))
            if count < len(rows) / 4:
                continue
            stops = found.stops[keep] - np.median(found.stops[keep])
            before = rows[0] + step * found.rows_before[keep]
            times = np.full(count, b.seconds), np.full(count, a.seconds)
            parts.append((stops, *times, rows[keep], before))
            numbers.append((count, len(numbers), number))
    columns = [np.concatenate(c) for c in zip(*parts, strict=True)] or [np.zeros(0)] * 5
    pair, window = (np.repeat([n[k] for n in numbers], [n[0] for n in numbers]) for k in (1, 2))
    stops, seconds, seconds_before, where, where_before = columns
    return RowChanges(
        stops=stops,
        seconds=seconds,
        seconds_before=seconds_before,
        rows=where,
        rows_before=where_before,
        pair=pair.astype(np.intp),
        window=window.astype(np.intp),
    )


def fitted(changes: RowChanges, hertz: float, readout: float, weight: Array | None = None) -> Wave:
    """The ripple of this frequency and readout that explains the changes best."""
    hertz, readout = float(hertz), float(readout)  # steps of a search are NumPy's; records are not
    columns = _regressors(changes, hertz, readout)
    target = _centred(changes.stops, changes.pair)
    share = np.ones(len(target)) if weight is None else weight
    normal = (columns * share) @ columns.T
    if np.linalg.eigvalsh(normal)[0] < LEAST_CHANGE * len(target):
        return Wave(hertz, readout, 0.0, 0.0, 0.0)
    cosine, sine = np.linalg.solve(normal, (columns * share) @ target)
    left = target - cosine * columns[0] - sine * columns[1]
    whole = float(share @ target**2)
    fit = 1 - float(share @ left**2) / whole if whole > 0 else 0.0
    return Wave(hertz, readout, float(cosine), float(sine), fit)


def _regressors(changes: RowChanges, hertz: float, readout: float) -> Array:
    turn = 2 * np.pi * hertz
    after = turn * (changes.seconds + readout * changes.rows)
    before = turn * (changes.seconds_before + readout * changes.rows_before)
    cosine = _centred(np.cos(after) - np.cos(before), changes.pair)
    sine = _centred(np.sin(after) - np.sin(before), changes.pair)
    return np.stack([cosine, sine])


def _centred(values: Array, pair: NDArray[np.intp]) -> Array:
    """Without the mean of each pair of frames, which is a change of exposure."""
    means = np.bincount(pair, values) / np.maximum(np.bincount(pair), 1)
    centred: Array = values - means[pair]
    return centred


def search(changes: RowChanges, hertz: float, rate: float) -> Wave:
    """The best ripple near a lamp's frequency: over readouts both ways, then finer."""
    if len(changes.stops) < _LEAST_ROWS:
        return Wave(hertz, 0.0, 0.0, 0.0, 0.0)
    longest = min(READOUT[1], 1.02 / rate)  # a frame is read before the next one begins
    down = np.arange(READOUT[0], longest + 1e-9, 0.001)
    best = max((fitted(changes, hertz, t) for t in (*down, *-down)), key=lambda w: w.fit)
    if best.fit < FAINT_FIT:
        return best
    span = float(np.ptp(changes.seconds)) + 1e-3
    off = np.arange(-GRID_WANDER, GRID_WANDER + 1e-9, min(0.05 / span, 0.1))
    best = max((fitted(changes, hertz + d, best.readout) for d in off), key=lambda w: w.fit)
    return _finer(changes, best, span)


def _finer(changes: RowChanges, wave: Wave, span: float) -> Wave:
    """Frequency and readout to a hundredth of a turn, with outliers voted down."""
    target = _centred(changes.stops, changes.pair)
    for round_ in range(3):
        left = target - np.array([wave.cosine, wave.sine]) @ _regressors(
            changes, wave.hertz, wave.readout
        )
        reach = max(4.7 * 1.4826 * float(np.median(np.abs(left))), 1e-3)
        weight = np.square(np.maximum(1 - np.square(left / reach), 0))
        steps = np.linspace(-1, 1, 9) / 2**round_
        near = [fitted(changes, wave.hertz, wave.readout + 0.001 * s, weight) for s in steps]
        wave = max(near, key=lambda w: w.fit)
        near = [fitted(changes, wave.hertz + 0.05 / span * s, wave.readout, weight) for s in steps]
        wave = max(near, key=lambda w: w.fit)
    plain = fitted(changes, wave.hertz, wave.readout)
    return Wave(wave.hertz, wave.readout, wave.cosine, wave.sine, plain.fit)


def joined(changes: RowChanges, hertz: float, rate: float) -> Wave:
    """One ripple through all windows: found in the first, and followed from one to the next.

    The frequency must be known well enough to foretell the next window's phase within a quarter of
    a turn; windows lie near enough for that (`WINDOW_GAP` of the job that chooses them).
    """
    known = changes.window == changes.window.min() if len(changes.window) else changes.window == 0
    wave = search(changes.only(known), hertz, rate)
    for number in np.unique(changes.window)[1:]:
        if wave.fit < FAINT_FIT:
            return wave
        before = float(np.ptp(changes.seconds[known])) + 1e-3
        known = changes.window <= number
        part = changes.only(known)
        span = float(np.ptp(part.seconds)) + 1e-3
        reach = min(0.25 / before, GRID_WANDER)
        off = np.arange(-reach, reach + 1e-9, min(0.05 / span, reach))
        near = (fitted(part, wave.hertz + d, wave.readout) for d in off)
        wave = _finer(part, max(near, key=lambda w: w.fit), span)
    return wave


def share_left(changes: RowChanges, wave: Wave) -> float:
    """The share of a ripple that stays once `wave` is taken out: other phases, and its overtone.

    What the windows still show at the lamp's frequency, rms, and at twice of it; of the overtone at
    least what the logarithm of a plain wave of light has: log2(1 + d cos φ) holds d/4 of it.
    """
    gone = np.array([wave.cosine, wave.sine]) @ _regressors(changes, wave.hertz, wave.readout)
    left = replace(changes, stops=_centred(changes.stops, changes.pair) - gone)
    parts = [left.only(left.window == n) for n in np.unique(left.window)]
    first = [fitted(part, wave.hertz, wave.readout).strength for part in parts]
    second = fitted(left, 2 * wave.hertz, wave.readout).strength
    overtone = max(second / wave.strength, wave.strength * np.log(2) / 4)
    return float(np.hypot(np.sqrt(np.mean(np.square(first))) / wave.strength, overtone))
