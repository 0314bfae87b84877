"""Light that changed by itself inside a clip, taken out frame by frame and row by row.

Exposure that pumps, white that drifts and the ripple of mains light are gains in the clip's own
linear channel light: the encoding's transfer of one channel alone (of PQ its EOTF), on its own
primaries. Undoing them is therefore one function of the signal, the same for every channel, with
the gain g (log2, stops) as parameter:

    shifted(V, g) = OETF(EOTF(V) · 2^(g·b))

b is 1, except near the clip level, where a pixel no longer says how bright its light was. There a
pixel stays where it is (b = 0), so that a blown window neither pulses nor takes a colour; from
there b rises evenly over two to three times as many stops as are corrected, so that the tone bends
by no more than half.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.colourmath import hdr
from evenhand.colourmath.adaptation import D65, adaptation_matrix, xy_to_xyz
from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.primaries import PRIMARIES, rgb_to_xyz
from evenhand.colourmath.white import kelvin_duv, white_xy
from evenhand.grade.document import Ripple, Steadying
from evenhand.grade.exact import SIGNAL_HIGH, SIGNAL_LOW, clean_signal
from evenhand.kernels.layout import MOVES
from evenhand.kernels.table import SteadyMoves

# Noise and the overshoot of subsampled chroma spread a clip over 5 codes (as `measure.ends` counts
# it): so many under the level stay, and correction is whole 12 codes under it at the soonest.
HELD: Final = 5.0 / 876.0
LEAST_BLEND: Final = 7.0 / 876.0
# Stops of blend for a stop of gain: 2 bends the tone by half, up or down.
BLEND_STOPS: Final = 2.0

# Stops between the tables of a clip: where the blend begins, a table between two of them is off by
# a quarter of it at most.
LEVEL_STEP: Final = 1.0 / 128.0

_KELVIN: Final = (1000.0, 200_000.0)  # what `white_xy` knows
_LEAST_RATIO: Final = 2.0**-8


def channel_light(signal: ArrayLike, encoding: Encoding) -> Array:
    """Signal (...) to the linear light of its own channel (...), in the unit of the curve.

    For PQ that is cd/m² by its EOTF; elsewhere it is `Transfer.to_light`.
    """
    if encoding.transfer == "pq":
        return hdr.pq_eotf(np.asarray(signal, np.float64))
    return transfer_of(encoding).to_light(signal, encoding.range)


def channel_signal(light: ArrayLike, encoding: Encoding) -> Array:
    """The inverse of `channel_light`."""
    if encoding.transfer == "pq":
        return hdr.pq_inverse_eotf(np.asarray(light, np.float64))
    return transfer_of(encoding).to_signal(light, encoding.range)


def neutral_ratio(stops: float, mired: float, duv: float, primaries: str) -> Array:
    """Linear RGB (3,) of a D65 neutral that was shifted, as a multiple of the neutral itself.

    Its luminance is 2^stops, its white is D65's plus `mired` and `duv` (CIE 1960). A space with
    another white is seen as D65 by Bradford, as in `levelling_matrix`.
    """
    kelvin, off = kelvin_duv(D65)
    away = 1e6 / kelvin + mired
    shifted = float(np.clip(1e6 / max(away, 1e-3), *_KELVIN))
    white = white_xy(shifted, off + duv) if mired or duv else D65
    seen = adaptation_matrix(PRIMARIES[primaries].white, D65, "bradford") @ rgb_to_xyz(primaries)
    ratio = np.linalg.solve(seen, xy_to_xyz(white)).astype(np.float64)
    result: Array = 2.0**stops * np.maximum(ratio, _LEAST_RATIO)
    return result


def channel_gains(steadying: Steadying, encoding: Encoding, seconds: float) -> Array:
    """log2 gains (3,) that undo what the keys say of the moment `seconds` after the first frame.

    The ripple is not in them. Zeros where there are no keys.
    """
    if not steadying.seconds:
        return np.zeros(3)
    stops, mired, duv = (
        float(np.interp(seconds, steadying.seconds, values))
        for values in (steadying.stops, steadying.mired, steadying.duv)
    )
    if not (stops or mired or duv):
        return np.zeros(3)
    result: Array = -np.log2(neutral_ratio(stops, mired, duv, encoding.primaries))
    return result


def ripple_stops(ripple: Ripple, seconds: float, rows: ArrayLike) -> Array:
    """By how many stops mains light brightens rows, given as fractions of the stored height."""
    phase = 2.0 * np.pi * ripple.hertz * (seconds + ripple.readout * np.asarray(rows, np.float64))
    return ripple.cosine * np.cos(phase) + ripple.sine * np.sin(phase)


def row_fractions(height: int, step: int = 1, rows: int | None = None) -> Array:
    """Middles of the rows of a stored picture, or of boxes of `step` rows, as fractions of it."""
    count = height // step if rows is None else rows
    return (np.arange(count) + 0.5) * step / height


def changes_nothing(steadying: Steadying | None) -> bool:
    """Whether a picture goes through as it is."""
    if steadying is None:
        return True
    still = not any(any(values) for values in (steadying.stops, steadying.mired, steadying.duv))
    ripple = steadying.ripple
    return still and (ripple is None or not (ripple.cosine or ripple.sine))


def steadied(
    signal: ArrayLike,
    encoding: Encoding,
    steadying: Steadying | None,
    seconds: float,
    rows: ArrayLike | None = None,
) -> Array:
    """Signal (..., 3) of one frame with its clip's own changes undone, float64, exact.

    `seconds` after the first frame; `rows` is where the first axis of `signal` lies, as fractions
    of the STORED picture's height, before any turning. A whole stored picture (h, w, 3) needs none.
    Signal is cleaned as by `exact_transform`. A steadying that changes nothing gives signal as it
    came. ValueError where rows are needed and not given.
    """
    if steadying is None or changes_nothing(steadying):
        return np.asarray(signal, np.float64)
    values = clean_signal(signal)
    gains = channel_gains(steadying, encoding, seconds)
    if steadying.ripple is not None:
        where = _rows_of(values, rows)
        stops = ripple_stops(steadying.ripple, seconds, where)
        gains = gains - stops.reshape(-1, *[1] * (values.ndim - 1))
    return shifted(values, np.broadcast_to(gains, values.shape), encoding, steadying.clip)


def _rows_of(values: Array, rows: ArrayLike | None) -> Array:
    if rows is not None:
        return np.asarray(rows, np.float64)
    if values.ndim != 3:
        raise ValueError("a ripple needs to know the rows of pixels that are no picture")
    return row_fractions(values.shape[0])


def shifted(signal: Array, gains: Array, encoding: Encoding, clip: float = 1.0) -> Array:
    """Signals under log2 gains (both of one shape), held at the clip: the formula above, exact.

    Rises with signal for any gain. Where the gain is 0, or the pixel is clipped, it is the same.
    """
    held = clip - HELD
    light = channel_light(signal, encoding)
    top, start = (channel_light(np.full(3, v), encoding)[1] for v in (held, held - LEAST_BLEND))
    with np.errstate(divide="ignore"):
        below = np.log2(top) - np.log2(np.maximum(light, 0.0))
    width = np.maximum(BLEND_STOPS * np.abs(gains), np.log2(top / start))
    share = _blend(below / width)
    moved = channel_signal(light * np.exp2(gains * share), encoding)
    same = (gains == 0.0) | (signal >= held)
    return np.where(same, signal, np.clip(moved, SIGNAL_LOW, SIGNAL_HIGH))


def _blend(place: Array) -> Array:
    """0 … 1: a straight line, rounded off from 0.75 to 1.25 without a corner."""
    straight = np.clip(place, 0.0, 0.75)
    return np.where(place > 0.75, 1.0 - np.clip(1.25 - place, 0.0, 0.5) ** 2, straight)


def moves_of(
    steadying: Steadying | None, encoding: Encoding, seconds: float, rows: ArrayLike
) -> SteadyMoves | None:
    """`steadied` as the kernel does it for a frame with such rows; None where nothing moves.

    The tables are made once for a clip, at gains LEVEL_STEP apart, and kept; what is made for a
    frame are three places among them, or three for every row.
    """
    if steadying is None or changes_nothing(steadying):
        return None
    gains = channel_gains(steadying, encoding, seconds)[None]
    if steadying.ripple is not None:
        gains = gains - ripple_stops(steadying.ripple, seconds, rows)[:, None]
    tables = _tables(steadying, encoding)
    middle = (len(tables.levels) // MOVES - 2) / 2
    return tables.at(middle + gains / LEVEL_STEP)


@lru_cache(maxsize=4)
def _tables(steadying: Steadying, encoding: Encoding) -> SteadyMoves:
    """Moves at every gain that the clip needs, and a little further: gains bend between keys."""
    keys = [channel_gains(steadying, encoding, seconds) for seconds in steadying.seconds]
    reach = float(np.abs(keys).max()) if keys else 0.0
    if steadying.ripple is not None:
        reach += float(np.hypot(steadying.ripple.cosine, steadying.ripple.sine))
    steps = int(np.ceil(1.05 * reach / LEVEL_STEP)) + 1
    signal = np.linspace(SIGNAL_LOW, SIGNAL_HIGH, MOVES)
    # Signals below a curve's end mean the same light: they take one place whatever the gain.
    meant = channel_signal(channel_light(signal, encoding), encoding)
    meant = np.where(signal < 0.0, np.clip(meant, SIGNAL_LOW, SIGNAL_HIGH), signal)
    moves = np.empty((2 * steps + 1, MOVES), np.float32)
    for row, gain in zip(moves, LEVEL_STEP * np.arange(-steps, steps + 1), strict=True):
        row[:] = shifted(meant, np.full(MOVES, gain), encoding, steadying.clip) - signal
    return SteadyMoves.from_tables(moves, (SIGNAL_LOW, SIGNAL_HIGH), np.zeros((1, 3)))


def steadied_picture(
    signal: NDArray[np.float32],
    encoding: Encoding,
    steadying: Steadying | None,
    seconds: float,
    rows: ArrayLike,
) -> NDArray[np.float32]:
    """`steadied` of a float32 picture (h, w, 3), many times quicker, free of NaN.

    By the tables of the kernel, between whose entries it goes in straight lines: within 0.05
    ten-bit code for 99.9 % of signals, and half a code where the blend near the clip begins.
    """
    moves = moves_of(steadying, encoding, seconds, rows)
    if moves is None:
        return signal
    levels = moves.levels.reshape(-1, MOVES)
    out = np.empty(signal.shape, np.float32)
    strip = len(signal) if len(moves.places) == 1 else 1
    for number, places in enumerate(moves.places):
        part = slice(number * strip, (number + 1) * strip)
        for channel, place in enumerate(places):
            level, share = int(place), place - np.floor(place)
            table = (1 - share) * levels[level] + share * levels[level + 1]
            out[part, :, channel] = _moved(signal[part, :, channel], table)
    return out


def _moved(signal: NDArray[np.float32], table: NDArray[np.float32]) -> NDArray[np.float32]:
    """Signal of one channel, moved by a table over SIGNAL_LOW..SIGNAL_HIGH."""
    values = np.clip(signal, np.float32(SIGNAL_LOW), np.float32(SIGNAL_HIGH))
    place = (values - np.float32(SIGNAL_LOW)) * np.float32((MOVES - 1) / (SIGNAL_HIGH - SIGNAL_LOW))
    entry = np.minimum(place.astype(np.int32), MOVES - 2)
    values += table[entry] + np.diff(table)[entry] * (place - entry)
    return values
