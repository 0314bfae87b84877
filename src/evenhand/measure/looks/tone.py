"""What a look does to greys: their order, their slope, their ends, their tint, and banding."""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from evenhand.colourmath.difference import ciede2000
from evenhand.colourmath.hdr import pq_inverse_eotf
from evenhand.colourmath.primaries import luminance_weights
from evenhand.measure.looks.probes import GREYS, INNER, Floats, Seen, before, probes

# The white of the display that the steps of visibility are taken on, cd/m².
WHITE: Final = 100.0
_GAMMA: Final = 2.4
_CODE: Final = 1.0 / 1023.0
_ENDS: Final = 20
# Tint is followed at this many greys: a lean is broad, a ripple is not.
_TINT_EVERY: Final = 8
_LAWFUL_RUNS: Final = 3
_SPAN: Final = 4.0
# CIELAB L* of the 18 % grey card's light on a display.
CARD: Final = 116.0 * 0.18 ** (1.0 / 3.0) - 16.0


def luma(signal: Floats) -> Floats:
    """Y' of BT.709."""
    result: Floats = signal @ luminance_weights("bt709")
    return result


def pq_codes(signal: Floats) -> Floats:
    """10-bit PQ codes of the light of a 100 cd/m² display: about equal steps of visibility."""
    light = WHITE * np.clip(signal, 0.0, 1.0) ** _GAMMA
    result: Floats = 1023.0 * pq_inverse_eotf(light)
    return result


def tone(out: Seen) -> dict[str, float]:
    """Order, slope and ends of the grey curve; `out` is what a look makes of the probes."""
    greys = probes().greys
    curve = luma(out.signal[greys])
    slope = np.diff(curve)[INNER] * (GREYS - 1)
    lightness, after = before().lab[greys, 0], out.lab[greys, 0]
    low = np.flatnonzero(curve > curve[0] + _CODE)
    high = np.flatnonzero(curve < curve[-1] - _CODE)
    return {
        "grey_drop": float((np.maximum.accumulate(curve) - curve).max() / _CODE),
        "slope_max": float(slope.max()),
        "kept": _kept(lightness, after),
        "lost_darks": float(lightness[low[0]] if low.size else 100.0),
        "lost_lights": float(100.0 - lightness[high[-1]] if high.size else 100.0),
        "black": 100.0 * float(curve[0]),
        "white": 100.0 * float(curve[-1]),
        "card": float(np.interp(CARD, lightness, after) - CARD),
    }


def _kept(lightness: Floats, after: Floats) -> float:
    """The least share of a difference of 4 L* that is left of it, 2 to 98 % of signal."""
    level = np.arange(lightness[INNER.start], lightness[INNER.stop] - _SPAN, 0.25)
    low, high = (np.interp(level + by, lightness, after) for by in (0.0, _SPAN))
    return float((high - low).min() / _SPAN)


def tint(out: Seen) -> dict[str, float]:
    """How far greys are from neutral, and whether the tint swings along the scale."""
    greys = out.lab[probes().greys]
    neutral = greys * np.array([1.0, 0.0, 0.0])
    return {
        "cast": float(ciede2000(greys, neutral).max()),
        "ripple": max(_swing(greys[::_TINT_EVERY, axis]) for axis in (1, 2)),
    }


def _swing(tint: Floats) -> float:
    """The fourth longest run of a tint one way, along the greys.

    A tint of the darks and another of the lights go out, across and back: three runs.
    """
    step = np.diff(tint)
    way = np.sign(step)
    ends = np.flatnonzero(way[1:] != way[:-1]) + 1
    runs = np.abs(np.add.reduceat(step, np.concatenate([[0], ends])))
    return float(np.sort(runs)[-_LAWFUL_RUNS - 1]) if len(runs) > _LAWFUL_RUNS else 0.0


def grey_bend(out: Seen) -> dict[str, float]:
    """The worst third difference of greys over steps of 1/32 of signal, in Oklab × 100.

    Near black it is not taken: there a display's own curve is a kink.
    """
    greys = 100.0 * out.even[probes().greys]
    step = (GREYS - 1) // 32
    third = greys[3 * step :] - greys[: -3 * step]
    third -= 3.0 * (greys[2 * step : -step] - greys[step : -2 * step])
    return {"grey_bend": float(np.linalg.norm(third[3 * step :], axis=1).max())}


def banding(out: Seen) -> dict[str, float]:
    """How far steps of 8-bit ramps grow, in CIEDE2000; longest 10-bit grey step in PQ codes.

    Of the 8-bit ramps the second worst counts: one that grazes the display's limit is no fault.
    """
    p = probes()
    grown = _steps(out) - _steps_before()
    worst = np.sort([grown[ramp.start : ramp.stop - 1].max() for ramp in p.eight])
    step = np.diff(pq_codes(luma(out.signal[p.ten])))
    return {"step_8": float(worst[-2]), "step_10": float(step[_ENDS:-_ENDS].max())}


@cache
def _steps_before() -> Floats:
    return _steps(before())


def _steps(out: Seen) -> Floats:
    """From each probe to the next, up to the end of the ramps."""
    last = probes().eight[-1].stop
    return np.asarray(ciede2000(out.lab[1:last], out.lab[: last - 1]))
