"""Finding light that changes by itself inside a clip: flicker first, then exposure and white.

A clip is glanced at before it is read whole: a frame a second, and one run of consecutive frames.
Only where that shows something are all its frames decoded. Frames pass by and are not kept, so that
memory does not grow with a clip; of long clips the part round the key frame is measured.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Final

import msgspec
import numpy as np

from evenhand.colourmath.encodings import Encoding
from evenhand.grade.document import Ripple, Steadying
from evenhand.jobs.smallframes import Moment, SmallFrames
from evenhand.measure.decisions import Match
from evenhand.measure.matching import match
from evenhand.measure.steady.drift import Drift, judge, unchanged
from evenhand.measure.steady.flicker import LEAST_STRENGTH, Flicker, find_flicker
from evenhand.measure.steady.flicker import unchanged as kept_flicker
from evenhand.measure.steady.framesteps import Array, FrameStep, SmallFrame, frame_step
from evenhand.measure.steady.lightcurve import RAMP, LightCurve, anchor_of, as_light, light_curve
from evenhand.measure.steady.mainswave import FAINT_FIT
from evenhand.measure.views import Features, features
from evenhand.media.records import ClipFacts
from evenhand.reasons import Reason, because

APART: Final = 1.0  # seconds between the frames that are glanced at
MOST_GLANCES: Final = 240  # in a clip; of longer ones they lie further apart
RUN: Final = 28  # consecutive frames: enough for a ripple that shows at 0.5 Hz
SHORT: Final = 100  # frames; a clip of no more is measured whole at once
LOOK_CLOSER: Final = (0.04, 3.0)  # stops, mired that a glance has to show
MOST_FRAMES: Final = 5400  # that are measured: three minutes at 30 frames a second
ANCHORS: Final = 10  # in a clip, not nearer and not further apart than:
ANCHOR_APART: Final = (0.45, 1.0)  # seconds
WINDOW_GAP: Final = 3.0  # seconds between runs by which a ripple is followed
LONGEST_RIPPLE: Final = 120.0  # seconds over which one phase of the mains is believed
THREADS: Final = 2
_AHEAD: Final = 16  # frames in work at once


class SteadyingFinding(msgspec.Struct, frozen=True):
    """What a clip's light does by itself, and what takes it out; None where nothing has to go.

    `glanced` and `measured` count the frames that were decoded to decide, and to measure.
    """

    drift: Drift
    flicker: Flicker
    steadying: Steadying | None
    glanced: int = 0
    measured: int = 0


@dataclass(frozen=True, slots=True)
class _Glance:
    """What a first look gave: whether to look closer, and the frame to compare all others with."""

    closer: bool
    key: int
    why: Reason


def find_steadying(
    path: Path, facts: ClipFacts, encoding: Encoding, clip_level: float
) -> SteadyingFinding:
    """Measures flicker, then exposure and white over the clip's own presentation times.

    clip_level: the signal above which a pixel is clipped. Raises ClipError like every decoding.
    """
    return steadying_of(SmallFrames(path, facts, encoding, clip_level))


def steadying_of(frames: SmallFrames) -> SteadyingFinding:
    """As `find_steadying`, of frames from anywhere."""
    flicker, ripple = _flicker(frames)
    frames.ripple = ripple
    count = len(frames.times)
    if count < 3:
        return _finding(frames, _too_few(count), None, flicker, 0)
    glance = (
        _Glance(True, count // 2, because("drift.short")) if count <= SHORT else _glanced(frames)
    )
    glanced = frames.read
    if not glance.closer:
        drift = Drift(
            status="steady",
            reference_seconds=float(frames.times[glance.key]),
            why=(glance.why,),
            would_change=(because("drift.if-glance", stops=LOOK_CLOSER[0], mired=LOOK_CLOSER[1]),),
        )
        return _finding(frames, drift, None, flicker, glanced)
    first = max(0, min(glance.key - MOST_FRAMES // 2, count - MOST_FRAMES))
    curve = _measured(frames, first, glance.key)
    if curve is None:
        return _finding(frames, _too_few(frames.read - glanced), None, flicker, glanced)
    drift, steadying = judge(curve)
    if count > MOST_FRAMES:
        minutes = MOST_FRAMES / count * frames.facts.duration / 60
        why = because("drift.only-a-part", minutes=minutes)
        drift = msgspec.structs.replace(drift, why=(*drift.why, why))
    return _finding(frames, drift, steadying, flicker, glanced)


def _too_few(count: int) -> Drift:
    return unchanged(because("drift.too-few", frames=count), because("drift.if-frames", frames=3))


def _finding(
    frames: SmallFrames,
    drift: Drift,
    steadying: Steadying | None,
    flicker: Flicker,
    glanced: int,
) -> SteadyingFinding:
    if steadying is not None or frames.ripple is not None:
        steadying = msgspec.structs.replace(
            steadying or Steadying(), ripple=frames.ripple, clip=frames.clip_level
        )
    return SteadyingFinding(drift, flicker, steadying, glanced, frames.read - glanced)


def _flicker(frames: SmallFrames) -> tuple[Flicker, Ripple | None]:
    """Looks at one run of frames, and where they ripple at more, all over the clip."""
    count, duration = len(frames.times), float(frames.times[-1])
    start = max(0, count // 2 - RUN // 2)
    found, ripple = find_flicker([frames.run(start, RUN)], frames.rows)
    faint = found.fit >= FAINT_FIT and found.strength >= LEAST_STRENGTH
    if not (faint or ripple) or count <= 2 * RUN:
        return found, ripple
    if duration > LONGEST_RIPPLE:
        why = (found.why[0], because("flicker.phase-lost", seconds=duration))
        change = because("flicker.if-shorter", seconds=LONGEST_RIPPLE)
        return kept_flicker(found, why, change), None
    windows = max(2, int(np.ceil(duration / WINDOW_GAP)) + 1)
    starts = np.linspace(0, count - RUN, windows).round().astype(int)
    return find_flicker([frames.run(int(s), RUN) for s in starts], frames.rows)


def _glanced(frames: SmallFrames) -> _Glance:
    """Compares frames about a second apart, each with the next, and one run step by step."""
    apart = max(APART, float(frames.times[-1]) / MOST_GLANCES)
    seconds: list[float] = []
    links: list[tuple[float, float] | None] = []
    before: Moment | None = None
    for moment in frames.spread(apart):
        if before is not None:
            links.append(_link(frames, before, moment))
        seconds.append(moment.seconds)
        before = moment
    return _seen(frames, np.array(seconds), links)


def _link(frames: SmallFrames, before: Moment, after: Moment) -> tuple[float, float] | None:
    """Stops and mired between two frames; None where they have no common view.

    A step is enough where it is clear; only else are key points looked for.
    """
    step = frame_step(frames.small(before), frames.small(after))
    if step.clear:
        stops, mired, _ = as_light(step.ratio[None], frames.encoding.primaries)
        return float(stops[0]), float(mired[0])
    found = match(_features(frames, before), _features(frames, after))
    return (found.stops, found.mired) if found.accepted else None


def _features(frames: SmallFrames, moment: Moment) -> Features:
    return features(frames.view(moment))


def _seen(frames: SmallFrames, seconds: Array, links: list[tuple[float, float] | None]) -> _Glance:
    """Follows the links through the parts of the clip in which each frame meets the next.

    The key frame is that of median exposure in the longest of them.
    """
    breaks = [n + 1 for n, link in enumerate(links) if link is None]
    parts = np.split(np.arange(len(seconds)), breaks)
    moves = np.array([link or (0.0, 0.0) for link in links]).reshape(-1, 2)
    paths = [np.cumsum(np.vstack([np.zeros(2), moves[part[:-1]]]), axis=0) for part in parts]
    longest = int(np.argmax([len(part) for part in parts]))
    middle = np.argsort(paths[longest][:, 0], kind="stable")[len(parts[longest]) // 2]
    number = int(np.argmin(np.abs(frames.times - seconds[parts[longest][middle]])))
    ranges = np.max([*(np.ptp(path, axis=0) for path in paths), _run_range(frames, number)], axis=0)
    why = because(
        "drift.glanced",
        frames=len(seconds),
        run=RUN,
        stops=float(ranges[0]),
        mired=float(ranges[1]),
    )
    return _Glance(bool((ranges > LOOK_CLOSER).any()), number, why)


def _run_range(frames: SmallFrames, key: int) -> tuple[float, float]:
    """Stops and mired that a run of consecutive frames covers."""
    run = frames.run(max(0, min(key, len(frames.times) - RUN)), RUN)
    steps = [frame_step(a, b) for a, b in pairwise(run)]
    if not steps:
        return 0.0, 0.0
    seconds = np.array([f.seconds for f in run])
    curve = light_curve(seconds, steps, [], 0, frames.encoding.primaries)
    return float(np.ptp(curve.stops)), float(np.ptp(curve.mired))


def _measured(frames: SmallFrames, first: int, key: int) -> LightCurve | None:
    """The light of all frames from one on: steps and anchors, in two threads beside the decoder.

    None where fewer than three of them can be decoded.
    """
    count = min(len(frames.times) - first, MOST_FRAMES)
    anchored = _anchored(frames.times, first, count, key)
    reference = _features(frames, frames.at(key))
    seconds: list[float] = []
    steps: list[FrameStep] = []
    anchors: list[tuple[int, Future[Match]]] = []
    work: deque[Future[FrameStep]] = deque()
    before: Future[SmallFrame] | None = None
    with ThreadPoolExecutor(THREADS) as pool:
        for number, moment in enumerate(frames.since(first, count, anchored)):
            small = pool.submit(frames.small, moment)
            if before is not None:
                work.append(pool.submit(_step, before, small))
            if moment.large is not None:
                anchors.append((number, pool.submit(_matched, frames, reference, moment)))
            before = small
            seconds.append(moment.seconds)
            while len(work) > _AHEAD:
                steps.append(work.popleft().result())
        steps += [waiting.result() for waiting in work]
        found = [(number, waiting.result()) for number, waiting in anchors]
    if len(seconds) < 3:
        return None
    primaries = frames.encoding.primaries
    tied = [a for number, m in found if (a := anchor_of(number, m, primaries)) is not None]
    times = np.array(seconds)
    here = int(np.argmin(np.abs(times - frames.times[key])))
    curve = light_curve(times, steps, [a for a in tied if a.index != here], here, primaries)
    return _faded(curve, first > 0, first + count < len(frames.times))


def _anchored(times: Array, first: int, count: int, key: int) -> set[int]:
    """The numbers of the frames that are compared with the key frame."""
    span = float(times[first + count - 1] - times[first])
    apart = float(np.clip(span / ANCHORS, *ANCHOR_APART))
    goals = np.arange(times[first], times[first + count - 1] + apart / 2, apart)
    near = np.abs(times[first : first + count, None] - goals[None]).argmin(axis=0)
    return {first + int(n) for n in near} | {first + count - 1} - {key}


def _step(before: Future[SmallFrame], after: Future[SmallFrame]) -> FrameStep:
    # both were handed to the same threads earlier, so that waiting for them cannot block
    return frame_step(before.result(), after.result())


def _matched(frames: SmallFrames, reference: Features, moment: Moment) -> Match:
    return match(reference, _features(frames, moment))


def _faded(curve: LightCurve, before: bool, after: bool) -> LightCurve:
    """The curve with its trust falling to none where the clip goes on beyond what was measured."""
    trust, seconds = curve.trust, curve.seconds
    if before:
        trust = np.minimum(trust, (seconds - seconds[0]) / RAMP)
    if after:
        trust = np.minimum(trust, (seconds[-1] - seconds) / RAMP)
    return replace(curve, trust=trust)
