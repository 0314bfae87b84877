"""Exposure that pumps and white that drifts inside a clip: whether to take it out, and as what.

Only what the camera's automatics did may go. They change the whole picture alike, within seconds,
and while the view stays the same. A change that comes with another view, that differs from place to
place, or that is as slow as daylight, is the scene's own and is kept.
"""

from __future__ import annotations

from typing import Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.grade.document import Steadying
from evenhand.measure.steady.framesteps import Array
from evenhand.measure.steady.lightcurve import RAMP, LightCurve
from evenhand.reasons import Reason, Why, because

Status = Literal["steady", "levelled", "unchanged"]

START: Final = (0.06, 4.0)  # stops, mired: a smaller range is left as it is
CAP: Final = (1.5, 60.0)  # stops, mired: the most that is taken out
SURE: Final = 3.0  # times the error that a range has to be to be believed
LEAST_SECONDS: Final = 0.4  # of one view
# The light of the sky at dusk falls by 0.25 to 0.31 stop a minute (400 lx at sunset to 3.4 lx at
# the end of civil twilight, 22 to 28 minutes later), and the sun warms by 3 to 5 mired a minute.
DAYLIGHT: Final = (0.35, 8.0)  # stops and mired a minute
TREND_SECONDS: Final = 8.0  # a slope over less cannot be told from drift
# A camera that is carried into another light keeps its picture as bright as it was; one that pumps
# changes the picture by what it pumps. Over a change of so many stops it is asked which one it was.
FOLLOWED: Final = (1.0, 0.5)  # stops; share of the change that the picture takes part in
KEY_TOLERANCE: Final = (0.003, 0.2, 7e-5)  # stops, mired, Duv that the keys may miss


class Drift(msgspec.Struct, frozen=True, kw_only=True):
    """What a clip's exposure and white do while it runs, and what is done about it.

    `range_stops` and `range_mired` span the frames that could be measured, before anything is done;
    `residual_stops` and `residual_mired` estimate what the worst frame keeps. `reference_seconds`
    is the moment that all others are made like, in seconds after the first frame; `share` is how
    much of the clip's length was measured against it.
    """

    status: Status
    range_stops: float = 0.0
    range_mired: float = 0.0
    residual_stops: float = 0.0
    residual_mired: float = 0.0
    reference_seconds: float = 0.0
    share: float = 0.0
    why: Why = ()
    would_change: Why = ()


def unchanged(why: Reason, would_change: Reason) -> Drift:
    """A clip in which nothing could be measured."""
    return Drift(status="unchanged", why=(why,), would_change=(would_change,))


def judge(curve: LightCurve) -> tuple[Drift, Steadying | None]:
    """What to do about a measured curve: the record, and the keys where something is taken out."""
    sure = curve.trust >= 1.0
    spanned = float(np.ptp(curve.seconds[sure])) if sure.any() else 0.0
    if not curve.anchors or curve.uneven > curve.anchors or spanned < LEAST_SECONDS:
        return _unmeasured(curve), None
    trend = _daylight(curve, sure)
    stops = curve.stops - trend[0] * (curve.seconds - curve.seconds[curve.reference])
    mired = curve.mired - trend[1] * (curve.seconds - curve.seconds[curve.reference])
    ranges = float(np.ptp(curve.stops[sure])), float(np.ptp(curve.mired[sure]))
    moving = float(np.ptp(stops[sure])), float(np.ptp(mired[sure]))
    begins = [
        m > max(start, SURE * error)
        for m, start, error in zip(moving, START, curve.error, strict=True)
    ]
    duration = max(float(np.ptp(curve.seconds)), 1e-9)
    record = Drift(
        status="levelled" if any(begins) else "steady",
        range_stops=ranges[0],
        range_mired=ranges[1],
        residual_stops=float(np.hypot(2 * curve.error[0], KEY_TOLERANCE[0])),
        residual_mired=float(np.hypot(2 * curve.error[1], KEY_TOLERANCE[1])),
        reference_seconds=float(curve.seconds[curve.reference]),
        share=float(np.sum(np.diff(curve.seconds) * sure[1:])) / duration,
    )
    if not any(begins):
        return _steady(record, curve, trend, moving), None
    if _followed(curve, sure):
        return _kept_whole(record), None
    # a part of it that is within its own error is no measurement
    known = [m > SURE * error for m, error in zip(moving, curve.error, strict=True)]
    bounded = np.clip(stops, -CAP[0], CAP[0]) * known[0], np.clip(mired, -CAP[1], CAP[1]) * known[1]
    capped = bool(np.abs(stops[sure]).max() > CAP[0] or np.abs(mired[sure]).max() > CAP[1])
    values = np.stack([*bounded, curve.duv * known[1]], axis=1) * curve.trust[:, None]
    return _levelled(record, curve, (trend, capped, known)), keys_of(curve.seconds, values)


def _followed(curve: LightCurve, sure: NDArray[np.bool_]) -> bool:
    """Whether the camera was carried into another light and followed it."""
    stops, brightness = curve.stops[sure], curve.brightness[sure]
    if float(np.ptp(stops)) <= FOLLOWED[0]:
        return False
    return float(np.polyfit(stops, brightness, 1)[0]) < FOLLOWED[1]


def _kept_whole(record: Drift) -> Drift:
    why = because("drift.followed", stops=record.range_stops, mired=record.range_mired)
    return msgspec.structs.replace(
        record,
        status="unchanged",
        residual_stops=0.0,
        residual_mired=0.0,
        why=(why,),
        would_change=(because("drift.if-one-and-same"),),
    )


def _daylight(curve: LightCurve, sure: NDArray[np.bool_]) -> tuple[float, float]:
    """Stops and mired a second by which the light moves as daylight may.

    Zeros where it is more, or too little to matter.
    """
    seconds = curve.seconds[sure]
    if float(np.ptp(seconds)) < TREND_SECONDS:
        return 0.0, 0.0
    stops, mired = (float(np.polyfit(seconds, v[sure], 1)[0]) for v in (curve.stops, curve.mired))
    length = float(np.ptp(seconds))
    natural = [
        abs(slope) * 60 <= most and abs(slope) * length >= start / 2
        for slope, most, start in zip((stops, mired), DAYLIGHT, START, strict=True)
    ]
    return stops * natural[0], mired * natural[1]


def keys_of(seconds: Array, values: Array) -> Steadying:
    """Keys (stops, mired, Duv) from a value a frame (n, 3): linear between, within KEY_TOLERANCE.

    Ramer's and Douglas and Peucker's way of thinning out a line, on all three at once.
    """
    scaled = values / np.array(KEY_TOLERANCE)
    keep = {0, len(seconds) - 1}
    spans = [(0, len(seconds) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        inner = slice(first + 1, last)
        share = (seconds[inner] - seconds[first]) / (seconds[last] - seconds[first])
        line = scaled[first] + share[:, None] * (scaled[last] - scaled[first])
        off = np.abs(scaled[inner] - line).max(axis=1)
        worst = int(np.argmax(off))
        if off[worst] > 0.9:  # what is left of the tolerance is for rounding
            keep.add(first + 1 + worst)
            spans += [(first, first + 1 + worst), (first + 1 + worst, last)]
    at = sorted(keep)
    columns = zip((4, 3, 6), values[at].T, strict=True)
    stops, mired, duv = (tuple(round(float(v), digits) for v in c) for digits, c in columns)
    return Steadying(tuple(round(float(s), 6) for s in seconds[at]), stops, mired, duv)


def _unmeasured(curve: LightCurve) -> Drift:
    duration = float(np.ptp(curve.seconds))
    if len(curve.cuts) > 0.2 * len(curve.seconds):
        return unchanged(because("drift.nothing-in-common"), because("drift.if-picture"))
    if curve.uneven:
        compared = curve.uneven + curve.anchors
        return unchanged(
            because("drift.part-lit", frames=curve.uneven, compared=compared),
            because("drift.if-one-light"),
        )
    if curve.anchors and duration < 2 * LEAST_SECONDS:
        return unchanged(
            because("drift.too-short", seconds=duration),
            because("drift.if-longer", seconds=2 * LEAST_SECONDS),
        )
    at = float(curve.seconds[curve.reference])
    return unchanged(
        because("drift.no-other-view", seconds=duration, key=at), because("drift.if-more-view")
    )


def _steady(
    record: Drift, curve: LightCurve, trend: tuple[float, float], moving: tuple[float, float]
) -> Drift:
    why = [because("drift.steady", stops=moving[0], mired=moving[1])]
    if any(trend):
        why.insert(0, because("drift.daylight", **_a_minute(trend)))
    limits = [float(max(s, SURE * e)) for s, e in zip(START, curve.error, strict=True)]
    return msgspec.structs.replace(
        record,
        why=(*why, *_kept(curve)),
        would_change=(because("drift.if-range", stops=limits[0], mired=limits[1]),),
    )


def _levelled(
    record: Drift, curve: LightCurve, told: tuple[tuple[float, float], bool, list[bool]]
) -> Drift:
    trend, capped, known = told
    why = [
        because(
            "drift.levelled",
            stops=record.range_stops,
            mired=record.range_mired,
            known=[bool(part) for part in known],
            key=record.reference_seconds,
            compared=curve.anchors,
        )
    ]
    if any(trend):
        why.append(because("drift.daylight-kept", **_a_minute(trend)))
    if capped:
        why.append(because("drift.capped", stops=CAP[0], mired=CAP[1]))
    return msgspec.structs.replace(
        record, why=(*why, *_kept(curve)), would_change=(because("drift.if-meant"),)
    )


def _a_minute(trend: tuple[float, float]) -> dict[str, float]:
    return {"stops": float(trend[0]) * 60, "mired": float(trend[1]) * 60}


def _kept(curve: LightCurve) -> list[Reason]:
    """What of a clip was not touched, and why."""
    told = []
    if curve.cuts:
        told.append(because("drift.cut", at=[float(curve.seconds[c]) for c in curve.cuts[:3]]))
    if curve.led_away:
        told.append(because("drift.left-view"))
    if curve.uneven:
        told.append(because("drift.lit-in-part", frames=curve.uneven))
    if (curve.trust < 1).any():
        share = float((curve.trust < 1).mean())
        told.append(because("drift.other-view", share=share, seconds=RAMP))
    return told
