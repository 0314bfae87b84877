"""How exactly light that changes inside a clip is found and taken out, and what that costs.

    python bench/steadying.py [--write]

Sequences by program and, where they lie beside the repository, over real photographs, go through a
simulated camera with known automatics; mains flicker through a simulated shutter; real clips are
timed. With --write the tables go to bench/steadying-results.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import msgspec
import numpy as np

HERE = Path(__file__).parent
ROOT = HERE.parent
sys.path.append(str(ROOT / "tests" / "measure"))

import simulated_camera as camera  # noqa: E402
import test_flicker as shutter  # noqa: E402
from simulated_clips import (  # noqa: E402
    ENCODINGS,
    Clip,
    automatic,
    crossing,
    left_over,
    measured,
    panning,
)

from evenhand.colourmath.encodings import Encoding, named  # noqa: E402
from evenhand.jobs.smallframes import Moment, SmallFrames  # noqa: E402
from evenhand.jobs.steadying import steadying_of  # noqa: E402
from evenhand.measure.steady.drift import judge  # noqa: E402
from evenhand.measure.steady.flicker import find_flicker  # noqa: E402
from evenhand.measure.steady.framesteps import SmallFrame  # noqa: E402
from evenhand.media.decode import frames  # noqa: E402
from evenhand.media.probe import probe  # noqa: E402

SEEDS = (5, 7, 11)
CLIPS = ROOT.parent / "shared" / "clips"
REAL = {
    "hlg-portrait-edit-list.mov": named("hlg"),
    "pq-variable-rate.mp4": named("pq"),
    "sdr-portrait-uhd-60.mp4": msgspec.structs.replace(named("bt601-625"), range="full"),
}


def main() -> None:
    """Runs the bench and shows its tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    lines = [*drift(), "", *flicker(), "", *cost()]
    table = "\n".join(lines) + "\n"
    sys.stdout.write(table)
    if options.write:
        (HERE / "steadying-results.md").write_text(table)


def drift() -> list[str]:
    """Sequences of 75 frames: a random walk, a step, white drift, a pan, somebody crossing."""
    pictures = {"scene 0": camera.scene(0), "scene 4": camera.scene(4), **camera.photographs()}
    lines = [
        "## Drift",
        "",
        "75 frames a sequence, three seeds, 384×216; worst frame as shot and steadied, "
        "difference of neighbouring frames (1 sd), what the record says of the worst frame.",
        "",
        "| over | curve | as shot: stop, mired | worst frame: stop, mired | neighbours | said |",
        "|---|---|---|---|---|---|",
    ]
    for name, picture in pictures.items():
        large = cv2.resize(picture, None, fx=1.5, fy=1.5) if len(picture) < 700 else picture
        for curve in ("phone-log", "hlg") if name.startswith("scene") else ("phone-log",):
            rows = np.array([sequence(large, seed, curve) for seed in SEEDS])
            before, worst = rows[:, :2].max(axis=0), rows[:, 2:4].max(axis=0)
            lines.append(
                f"| {name} | {curve} | {before[0]:.2f}, {before[1]:.1f} | {worst[0]:.4f}, "
                f"{worst[1]:.2f} | {np.median(rows[:, 4]):.4f} | {np.median(rows[:, 5]):.4f}, "
                f"{np.median(rows[:, 6]):.2f} |"
            )
    return lines


def sequence(picture: np.ndarray, seed: int, curve: str) -> tuple[float, ...]:
    """Range as shot (stops, mired), worst frame (both), neighbours, and what is said."""
    encoding = ENCODINGS[curve]
    faults = automatic(75, seed)
    clip = Clip(picture, np.arange(75) / 25, faults, panning, crossing, curve, seed)
    found = measured(clip.frames(), clip.seconds, encoding)
    record, steadying = judge(found)
    before = np.abs(left_over(None, clip, encoding, found.reference)).max(axis=0)
    left = left_over(steadying, clip, encoding, found.reference)
    worst = np.abs(left).max(axis=0)
    jumps = float(np.std(np.diff(left[:, 0])))
    return (*before, *worst, jumps, record.residual_stops, record.residual_mired)


def flicker() -> list[str]:
    """28 frames a case through a rolling shutter."""
    lines = [
        "## Flicker",
        "",
        "28 frames over three pictures; share of the ripple that stays, worst of three, and R².",
        "",
        "| case | ripple, 1 sd (stop) | stays | said | R² |",
        "|---|---|---|---|---|",
    ]
    photographs = camera.photographs()
    others = [photographs[n] for n in ("candle_glass", "mountain") if n in photographs]
    for name, (fps, hertz, exposure, depth, more) in (shutter.SLOW_CASES | shutter.CASES).items():
        seconds = np.arange(28) / fps
        stops = shutter.light(hertz, exposure, depth, seconds)
        found = []
        for picture in (camera.scene(3), *others):
            record, ripple = find_flicker(
                [shutter.filmed(picture, seconds, stops, **more)], shutter.ROWS
            )
            stays = shutter.share_left(ripple, seconds, stops) if ripple else 1.0
            found.append((stays, record.left, record.fit))
        stays, said, fit = max(found)
        lines.append(f"| {name} | {np.std(stops):.3f} | {stays:.1%} | {said:.1%} | {fit:.2f} |")
    return lines


class Repeated(SmallFrames):
    """A short clip, decoded before, played forth and back for ten seconds."""

    def __init__(self, path: Path, encoding: Encoding, rate: int, more: bool) -> None:
        super().__init__(path, probe(path), encoding, 0.98)
        self.kept = [frame.copied() for frame in frames(path)]
        self.times = np.arange(10 * rate) / rate
        self.more = more

    def _moment(self, number: int, larger: bool) -> Moment:
        turn = 2 * len(self.kept) - 2
        at = number % turn
        moment = self.moment(self.kept[at if at < len(self.kept) else turn - at], larger)
        pumped = np.float32(0.03 * np.sin(number / 20)) if self.more else np.float32(0)
        large = None if moment.large is None else moment.large + pumped
        return Moment(float(self.times[number]), moment.small + pumped, large)

    def run(self, first: int, count: int) -> list[SmallFrame]:
        last = min(first + count, len(self.times))
        return [self.small(self._moment(n, False)) for n in range(first, last)]

    def since(self, first: int, count: int, larger: set[int]) -> Iterator[Moment]:
        for n in range(first, min(first + count, len(self.times))):
            yield self._moment(n, n in larger)

    def spread(self, apart: float) -> Iterator[Moment]:
        step = round(apart / float(self.times[1]))
        for n in range(0, len(self.times), step):
            yield self._moment(n, True)


def cost() -> list[str]:
    """Processor seconds for real clips as they are, and after decoding for ten seconds of them."""
    lines = [
        "## Cost",
        "",
        "Processor seconds (two cores share them; other work on the machine hardly changes them). "
        "First the clips as they are, then ten seconds of them played forth and back from memory, "
        "so that decoding is left out: steady, which is only glanced at, and with exposure that "
        "pumps, which is measured in every frame.",
        "",
        "| clip | frames | decoding all | whole finding | result |",
        "|---|---|---|---|---|",
    ]
    if not CLIPS.is_dir():
        return [*lines, "| the real clips are not on this machine | | | | |"]
    for name, encoding in REAL.items():
        path = CLIPS / name
        facts = probe(path)
        decoding = seconds_of(lambda path=path: sum(1 for _ in frames(path)))[0]
        whole, found = seconds_of(
            lambda p=path, f=facts, e=encoding: steadying_of(SmallFrames(p, f, e, 0.98))
        )
        lines.append(
            f"| {name} | {facts.frames} | {decoding:.2f} | {whole:.2f} | {found.drift.status}: "
            f"{found.drift.range_stops:.2f} stop, {found.drift.range_mired:.1f} mired |"
        )
    lines += ["", "| ten seconds of | rate | glance | measured whole |", "|---|---|---|---|"]
    for name, rate in (("hlg-portrait-edit-list.mov", 30), ("sdr-portrait-uhd-60.mp4", 30)):
        cells = []
        for more in (False, True):
            clip = Repeated(CLIPS / name, REAL[name], rate, more)
            spent, found = seconds_of(lambda clip=clip: steadying_of(clip))
            cells.append(f"{spent:.2f} ({found.drift.status}, {clip.read} frames)")
        lines.append(f"| {name} | {rate} | {' | '.join(cells)} |")
    return lines


def seconds_of(work):  # type: ignore[no-untyped-def]
    """Processor seconds of some work, the second time it is done, and what it gave."""
    work()
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


if __name__ == "__main__":
    main()
