"""The light of a clip over time: a chain of frame steps, tied down by anchors to one key frame.

The chain says what happened from frame to frame and errs slowly, by adding up; an anchor (the
overlap of a frame with the key frame) errs a little and does not add up. The chain's error is
estimated between the anchors as a random walk; the chain itself is never smoothed, since automatic
exposure jumps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.adaptation import D65, adaptation_matrix
from evenhand.colourmath.primaries import PRIMARIES, rgb_to_xyz
from evenhand.colourmath.white import kelvin_duv, kelvin_duv_of_uv
from evenhand.measure import ratios
from evenhand.measure.decisions import Match
from evenhand.measure.steady.framesteps import Array, FrameStep

Places = NDArray[np.intp]
Mask = NDArray[np.bool_]

HOLD: Final = 1.44  # seconds (36 frames at 25 a second) that the chain is trusted past an anchor
RAMP: Final = 1.0  # seconds in which a correction then goes back to none
CHAIN_ERROR: Final = 0.004  # stops a step, 1 sd as a random walk (measured: 0.001 to 0.006)
LEAST_ANCHOR_ERROR: Final = 0.004  # stops
STOPS_OF_MIRED: Final = 0.008  # how far one mired moves the blue channel of a BT.2020 neutral
WRONG_ANCHOR: Final = 0.06  # stops by which an anchor may miss the others, at the least
MOST_ANCHOR_ERROR: Final = (0.06, 6.0)  # stops, mired
UNEVEN_SHARE: Final = 0.5  # of the change: spread of the overlap that comes with it
UNEVEN: Final = 0.20  # stops of such spread, at the least
TWO_LIGHTS: Final = 0.3  # of the view: so much may not have changed otherwise than the rest
FAR_OFF: Final = (0.25, 10.0)  # stops, mired: a view that is lost this far off led somewhere else
NEAR: Final = (0.06, 4.0)  # stops, mired: as good as the key frame
_BREAK: Final = 1.0  # stops; what the chain may have missed where it broke


@dataclass(frozen=True, slots=True)
class Anchor:
    """What a frame differs by from the key frame: log2 own channel ratio of a neutral, (3,).

    error: one standard error of it in stops; spread: stops by which parts of the view depart;
    two_lights: whether a large part of the view changed by something else.
    """

    index: int
    ratio: Array
    error: float
    spread: float
    two_lights: bool = False


@dataclass(frozen=True, slots=True)
class LightCurve:
    """How each frame (n) differs from the reference moment: stops, mired, Duv, positive as always.

    `reference` is the frame of median exposure among those that share a view. `trust` is 1 where
    anchors hold the curve, falls to 0 in RAMP past them, and is 0 where nothing is known. `error`:
    stops and mired by which the anchors depart from what the others foretell, rms. `cuts` are frame
    numbers before which the scene changes; `anchors` counts those used, `wrong` those that
    contradicted the others, `uneven` those where the light itself changed. `led_away`: a view was
    lost far from the reference's light, so that the camera followed the scene. `brightness` is the
    mean log2 of all that each frame shows, from that of the reference.
    """

    seconds: Array
    reference: int
    stops: Array
    mired: Array
    duv: Array
    brightness: Array
    trust: Array
    error: tuple[float, float]
    cuts: tuple[int, ...]
    anchors: int
    wrong: int
    uneven: int
    led_away: bool


def anchor_of(index: int, found: Match, primaries: str) -> Anchor | None:
    """An accepted match of the key frame with a frame as an anchor; None where it is too unsure."""
    two_lights = found.second is not None and found.second_share >= TWO_LIGHTS
    unsure = found.stops_error > MOST_ANCHOR_ERROR[0] or found.mired_error > MOST_ANCHOR_ERROR[1]
    if not found.accepted or (unsure and not two_lights):
        return None
    own = np.linalg.solve(_own_to_xyz(primaries), ratios.xyz_of(np.array(found.ratio)))
    own /= np.linalg.solve(_own_to_xyz(primaries), ratios.xyz_of(np.ones(3)))
    if own.min() <= 0:
        return None
    error = float(np.hypot(found.stops_error, STOPS_OF_MIRED * found.mired_error))
    return Anchor(index, np.log2(own), max(error, LEAST_ANCHOR_ERROR), found.spread, two_lights)


@cache
def _own_to_xyz(primaries: str) -> Array:
    seen = adaptation_matrix(PRIMARIES[primaries].white, D65, "bradford")
    matrix: Array = seen @ rgb_to_xyz(primaries)
    return matrix


def as_light(channels: Array, primaries: str) -> tuple[Array, Array, Array]:
    """log2 own channel ratios (n, 3) of a D65 neutral as stops, mired and Duv, (n,) each.

    The inverse of `grade.steadying.neutral_ratio`.
    """
    xyz = np.exp2(channels) @ _own_to_xyz(primaries).T
    uv = xyz[:, :2] * [4.0, 6.0] / (xyz @ [1.0, 15.0, 3.0])[:, None]
    kelvin, duv = kelvin_duv_of_uv(uv)
    at, off = kelvin_duv(D65)
    return np.log2(xyz[:, 1]), 1e6 / kelvin - 1e6 / at, duv - off


def light_curve(
    seconds: Array, steps: Sequence[FrameStep], anchors: Sequence[Anchor], key: int, primaries: str
) -> LightCurve:
    """Chain and anchors put together.

    seconds (n,), rising; steps (n − 1): from each frame to the next; anchors: of frames other than
    the key frame, whose number is `key`.
    """
    chain, variance, cuts = _chained(steps)
    chain -= chain[key]
    even = [a for a in anchors if not _uneven(a, anchors)]
    start = Anchor(key, np.zeros(3), LEAST_ANCHOR_ERROR / 4, 0.0)
    tied = sorted([*even, start], key=lambda a: a.index)
    good, missed, departed = _agreeing(tied, chain, variance, key)
    at = np.array([a.index for a in good])
    # along the variance, so that what a break of the chain missed is put where it broke
    channels = chain + np.stack(
        [np.interp(variance, variance[at], missed[:, k]) for k in range(3)], axis=1
    )
    shared = np.arange(at[0], at[-1] + 1)
    exposure = as_light(channels[shared], primaries)[0]
    reference = int(shared[np.argsort(exposure, kind="stable")[len(shared) // 2]])
    brightness = np.cumsum([0.0, *[step.brightness for step in steps]])
    stops, mired, duv = as_light(channels - channels[reference], primaries)
    lit = np.array([a.index for a in anchors if _uneven(a, anchors)], dtype=np.intp)
    trust, led_away = _trust(seconds, at, (cuts, lit), stops, mired)
    return LightCurve(
        seconds=seconds,
        reference=reference,
        stops=stops,
        mired=mired,
        duv=duv,
        brightness=brightness - brightness[reference],
        trust=trust,
        error=_departures(departed, primaries),
        cuts=cuts,
        anchors=len(good) - 1,
        wrong=len(tied) - len(good),
        uneven=len(anchors) - len(even),
        led_away=led_away,
    )


def _chained(steps: Sequence[FrameStep]) -> tuple[Array, Array, tuple[int, ...]]:
    """Steps added up (n, 3), the variance they gather (n,), and frames before which it breaks.

    Where too few pixels know the white, exposure alone is taken: white then comes from before and
    after.
    """
    moves = np.zeros((len(steps) + 1, 3))
    variance = np.zeros(len(steps) + 1)
    cuts = []
    for n, step in enumerate(steps, 1):
        variance[n] = CHAIN_ERROR**2
        if step.knows_white:
            moves[n] = step.ratio
        elif step.same_scene:
            moves[n] = step.ratio[1]
            variance[n] *= 4
        else:
            variance[n] = _BREAK**2
            cuts.append(n)
    return np.cumsum(moves, axis=0), np.cumsum(variance), tuple(cuts)


def _uneven(anchor: Anchor, anchors: Sequence[Anchor]) -> bool:
    """Whether the light itself changed: the camera's automatics change all of the picture alike.

    What parts of the view depart by, more than in the anchors without a change, is held against the
    change.
    """
    if anchor.two_lights:
        return True
    change = float(np.abs(anchor.ratio).max())
    usual = float(np.quantile([a.spread for a in anchors if not a.two_lights], 0.25))
    more = float(np.sqrt(max(anchor.spread**2 - usual**2, 0.0)))
    return more > max(UNEVEN, UNEVEN_SHARE * change)


def _agreeing(
    tied: list[Anchor], chain: Array, variance: Array, key: int
) -> tuple[list[Anchor], Array, Array]:
    """The anchors that agree, what the chain misses at each (k, 3), and what they depart by.

    Each anchor is foretold from the others, with the chain between them; the one that misses most
    is dropped while any misses by more than WRONG_ANCHOR and by more than five of its own errors.
    The key frame's own, which is none, is not among the departures (k − 1, 3).
    """
    while True:
        missing = np.array([a.ratio - chain[a.index] for a in tied])
        at = np.array([a.index for a in tied])
        errors = np.array([a.error for a in tied])
        walked = variance[at] * _restlessness(missing, variance[at], errors)
        smooth, share, allowed = _tied_down(missing, walked, errors)
        departed = (missing - smooth) / np.maximum(1 - share, 1e-6)[:, None]
        free = at != key
        beyond = np.abs(departed).max(axis=1) / np.maximum(WRONG_ANCHOR, 5 * allowed) * free
        worst = int(np.argmax(beyond))
        if beyond[worst] <= 1.0 or len(tied) <= 2:
            return tied, smooth, departed[free]
        tied = [a for n, a in enumerate(tied) if n != worst]


def _restlessness(missing: Array, variance: Array, errors: Array) -> float:
    """By what the chain's variance has to be multiplied to explain what it misses, at least 1.

    A lens that darkens towards its edges, tone that is mapped from place to place and parallax make
    it err more than noise does.
    """
    missed = np.square(np.diff(missing, axis=0)).mean(axis=1)
    walked = np.diff(variance)
    own = np.square(errors[1:]) + np.square(errors[:-1])
    excess = np.maximum(missed - own, 0) / walked
    return max(1.0, float(np.median(excess))) if len(excess) else 1.0


def _departures(departed: Array, primaries: str) -> tuple[float, float]:
    """Stops and mired of log2 channel departures (k, 3), rms; zeros where there are none."""
    if not len(departed):
        return 0.0, 0.0
    stops, mired, _ = as_light(np.clip(departed, -1, 1), primaries)
    return float(np.sqrt(np.mean(stops**2))), float(np.sqrt(np.mean(mired**2)))


def _tied_down(missing: Array, variance: Array, errors: Array) -> tuple[Array, Array, Array]:
    """A random walk through what the chain misses (k, 3): smoothed, each one's own share, errors.

    Least squares of the anchors' errors and of the chain's, which add up between them.
    """
    count = len(missing)
    own = 1.0 / np.square(errors)
    link = 1.0 / np.maximum(np.diff(variance), 1e-8)
    normal = np.diag(own)
    for n, weight in enumerate(link):
        normal[n : n + 2, n : n + 2] += weight * np.array([[1.0, -1.0], [-1.0, 1.0]])
    inverse = np.linalg.inv(normal)
    share = np.diag(inverse) * own
    smooth: Array = inverse @ (own[:, None] * missing)
    # what the rest foretells of it has the variance inverse / (1 − share), beside its own error
    foretold = np.diag(inverse) / np.maximum(1 - share, 1e-6)
    return smooth, share, np.sqrt(foretold + np.square(errors)) if count > 1 else np.zeros(1)


def _trust(
    seconds: Array, at: Places, ends: tuple[tuple[int, ...], Places], stops: Array, mired: Array
) -> tuple[Array, bool]:
    """How far each frame's value is to be believed, 0..1, and whether a view led somewhere else.

    `ends` are the cuts, before which the chain is not held, and the frames whose light had changed
    in parts: past the last anchor before one of these nothing is held.
    """
    cuts, lit = ends
    trust = np.zeros(len(seconds))
    far = (np.abs(stops) > FAR_OFF[0]) | (np.abs(mired) > FAR_OFF[1])
    near = (np.abs(stops) <= NEAR[0]) & (np.abs(mired) <= NEAR[1])
    led_away = False
    for group in np.split(at, np.flatnonzero(np.diff(seconds[at]) > HOLD) + 1):
        low = max([c for c in cuts if c <= group[0]], default=0)
        high = min([c for c in cuts if c > group[-1]], default=len(seconds))
        low = int(group[0]) if _between(lit, low, int(group[0])) else low
        high = int(group[-1]) + 1 if _between(lit, int(group[-1]), high) else high
        last, away = _end(seconds[:high], int(group[-1]), far, near, int(group[0]))
        turned = _end(
            -seconds[low:][::-1],
            len(seconds) - 1 - int(group[0]),
            far[::-1],
            near[::-1],
            len(seconds) - 1 - int(group[-1]),
        )
        first = len(seconds) - 1 - turned[0]
        led_away |= away or turned[1]
        if first <= last:
            beyond = np.maximum(seconds[first] - seconds, seconds - seconds[last])[low:high]
            trust[low:high] = np.maximum(trust[low:high], np.clip(1 - beyond / RAMP, 0, 1))
    return trust, led_away


def _between(places: Places, first: int, end: int) -> bool:
    return bool(((places >= first) & (places < end)).any())


def _end(seconds: Array, anchor: int, far: Mask, near: Mask, first: int) -> tuple[int, bool]:
    """The last frame to be trusted past the last anchor of a group, and whether it led away.

    seconds: up to the next cut or the end of the clip. Where the view is lost far from the key
    frame's light, the camera followed the scene: from where that began nothing is touched.
    """
    held = int(np.searchsorted(seconds, seconds[anchor] + HOLD, side="right")) - 1
    if held == len(seconds) - 1 and seconds[-1] - seconds[anchor] <= HOLD:
        return held, False
    if far[anchor]:
        back = np.flatnonzero(near[first : anchor + 1])
        return (first + int(back[-1]) if len(back) else first - 1), True
    departs = np.flatnonzero(far[anchor : held + 1])
    return (anchor + int(departs[0]) - 1 if len(departs) else held), False
