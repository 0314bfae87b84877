"""A whole master three ways, side by side in one run: what does the grade cost?

    ungraded   decode and encode, nothing between but the change from 4:2:2 to 4:2:0
    evenhand   evenhand's pipeline: decode, grade, encode, and (timed apart) verification
    ffmpeg     decode, FFmpeg's own scale, lut3d, scale, and encode

All decode the same clip and encode by the settings of the same spec. The rounds take turns, so that
a machine that grows warm or busy grows so for all three. An encoder takes longer over more
contrast, so the transform is the identity unless another is asked for: the encoder then has the
same work three times.

    python bench/master.py                                  # UHD, web-uhd, 50 frames
    python bench/master.py --size 1920x1080 --spec web-hd --quality draft --frames 100
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from kernel import (
    Transform,
    grade_named,
    kernel_table,
    natural_picture,
    synthetic,
    write_cube,
)

from evenhand.colourmath.encodings import named
from evenhand.grade.exact import exact_transform
from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.grade import warm
from evenhand.kernels.table import KernelTable
from evenhand.measure.timing import conform
from evenhand.media.encode import MasterOrder, MasterWriter
from evenhand.media.pipeline import Grading, write_pictures
from evenhand.media.pixels import planes_of
from evenhand.media.probe import probe
from evenhand.media.spec import MasterSpec, load_spec, plan_picture
from evenhand.media.verify import verify_master

ENCODERS = {"hevc": "libx265", "prores": "prores", "h264": "libx264"}
CUBE_POINTS = 33
TABLE_POINTS = 65
Feed = Callable[[Iterator[av.VideoFrame]], Iterator[av.VideoFrame]]


def make_clip(path: Path, width: int, height: int, frames: int, codec: str) -> None:
    """A log clip that pans over one picture with the spectrum of nature."""
    y, u, v = natural_picture(height + 64, width + 64)
    options = {"profile": "3"}
    if codec == "libx265":
        options = {"preset": "ultrafast", "crf": "18", "x265-params": "log-level=error"}
    pixel_format = "yuv422p10le" if codec == "prores" else "yuv420p10le"
    with av.open(str(path), "w", format="mov") as out:
        stream = out.add_stream(codec, rate=25, options=options)
        stream.width, stream.height, stream.pix_fmt = width, height, pixel_format
        stream.thread_type = "AUTO"
        stream.codec_context.thread_count = 0
        for index in range(frames):
            frame = av.VideoFrame(width, height, pixel_format)
            at = 2 * (index % 32)
            for plane, whole in zip(planes_of(frame), (y, u, v), strict=True):
                across, down = width // plane.shape[1], height // plane.shape[0]
                part = whole[at : at + height : down, at // across :]
                plane[:] = part[: plane.shape[0], : plane.shape[1]]
            frame.pts, frame.time_base = index, Fraction(1, 25)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


@dataclass(frozen=True)
class Job:
    """One master to be made: clip, spec, quality, transform."""

    clip: Path
    spec: MasterSpec
    quality: str
    table: KernelTable
    cube: Path
    folder: Path

    def order(self) -> MasterOrder:
        facts = probe(self.clip)
        plan = plan_picture(self.spec, *facts.shown_size)
        return MasterOrder(self.spec, plan, facts.frames, self.quality)


def by_library(job: Job, feed: Feed) -> None:
    """Decode, `feed` and encode with the library alone."""
    spec = job.spec
    path = job.folder / f"library.{spec.container}"
    with av.open(str(job.clip)) as clip, av.open(str(path), "w", format=spec.container) as out:
        source = clip.streams.video[0]
        source.thread_type = "AUTO"
        options = dict(spec.level(job.quality).encoder)
        stream: Any = out.add_stream(ENCODERS[spec.codec], rate=25, options=options)
        plan = plan_picture(spec, source.width, source.height)
        stream.width, stream.height, stream.pix_fmt = plan.width, plan.height, spec.pixel_format
        stream.codec_context.gop_size = round(spec.key_every * spec.frame_rate)
        if spec.codec != "hevc":
            stream.thread_type, stream.codec_context.thread_count = "AUTO", 0
        for index, frame in enumerate(feed(clip.decode(source))):
            frame.pts, frame.time_base, frame.pict_type = index, Fraction(1, 25), 0
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def ungraded(job: Job) -> None:
    """The same decode and encode with no grade at all."""

    def feed(frames: Iterator[av.VideoFrame]) -> Iterator[av.VideoFrame]:
        for frame in frames:
            yield frame.reformat(format=job.spec.pixel_format)

    by_library(job, feed)


def by_filters(job: Job) -> None:
    """FFmpeg's own chain with the fastest intermediate of its kind."""

    def feed(frames: Iterator[av.VideoFrame]) -> Iterator[av.VideoFrame]:
        graph = av.filter.Graph()
        graph.threads = os.cpu_count() or 1
        matrix = "in_color_matrix=bt709:out_color_matrix=bt709:flags=bilinear"
        ends: tuple[Any, Any] | None = None
        for frame in frames:
            if ends is None:
                source = graph.add_buffer(
                    width=frame.width, height=frame.height, format=frame.format, time_base="1/25"
                )
                steps = [
                    source,
                    graph.add("scale", matrix),
                    graph.add("format", "gbrpf32le"),
                    graph.add("lut3d", f"file={job.cube}:interp=tetrahedral"),
                    graph.add("scale", matrix),
                    graph.add("format", job.spec.pixel_format),
                    graph.add("buffersink"),
                ]
                for first, second in pairwise(steps):
                    first.link_to(second)
                graph.configure()
                ends = source, steps[-1]
            ends[0].push(frame)
            yield ends[1].pull()

    by_library(job, feed)


def by_evenhand(job: Job) -> None:
    """The pipeline of this project, without verification, which is timed apart."""
    target = job.folder / f"evenhand.{job.spec.container}"
    with Unverified(target, job.order(), overwrite=True) as writer:
        facts = probe(job.clip)
        plan = plan_picture(job.spec, *facts.shown_size)
        down = 2 if job.spec.chroma == "4:2:0" else 1
        grading = Grading(
            clip=job.clip, facts=facts, encoding=named("bt709"), table=job.table,
            target=PlaneFormat(job.spec.bits, 2, down), width=plan.width, height=plan.height,
        )  # fmt: skip
        timing = conform(facts.times, job.spec.frame_rate, Fraction(facts.time_base))
        write_pictures(grading, timing, writer)


class Unverified(MasterWriter):
    """A writer that believes what it wrote."""

    def _verify(self) -> None:
        pass


def verification(job: Job) -> None:
    """Reading the finished master again, with its frames compared."""
    order = job.order()
    target = job.folder / f"evenhand.{job.spec.container}"
    expected = order.expectation()
    found = verify_master(target, expected, {}, np.zeros((order.frames, 8, 8), np.float32))
    wrong = [check.name for check in found.failures if check.name != "order of frames"]
    if wrong:
        raise SystemExit(f"evenhand's master fails {', '.join(wrong)}")


JOBS: dict[str, Callable[[Job], None]] = {
    "ungraded": ungraded,
    "evenhand": by_evenhand,
    "verification": verification,
    "ffmpeg": by_filters,
}


def compare(job: Job, rounds: int) -> str:
    """Seconds of each way, on the clock and of the processors, and ratios to the ungraded one.

    The ratios are of the same round. On a busy machine the processors' seconds are the surer ones.
    """
    seconds: dict[str, list[float]] = {name: [] for name in JOBS}
    worked: dict[str, list[float]] = {name: [] for name in JOBS}
    for _ in range(rounds):
        for name, run in JOBS.items():
            start, before = time.perf_counter(), time.process_time()
            run(job)
            seconds[name].append(time.perf_counter() - start)
            worked[name].append(time.process_time() - before)
    frames = job.order().frames
    lines = [f"{'':14}{'seconds':>9}{'fps':>8}{'ratio':>8}{'CPU s':>9}{'ratio':>8}"]
    for name in JOBS:
        middle, work = statistics.median(seconds[name]), statistics.median(worked[name])
        lines.append(
            f"{name:14}{middle:9.2f}{frames / middle:8.2f}{_ratio(seconds, name):8.3f}"
            f"{work:9.2f}{_ratio(worked, name):8.3f}"
        )
    return "\n".join(lines)


def _ratio(figures: dict[str, list[float]], name: str) -> float:
    pairs = zip(figures[name], figures["ungraded"], strict=True)
    return statistics.median(figure / base for figure, base in pairs)


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--size", default="3840x2160", help="of the clip")
    parser.add_argument("--frames", type=int, default=50)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--source", choices=["prores", "libx265"], default="libx265")
    parser.add_argument("--spec", default="web-uhd")
    parser.add_argument("--quality", default="good")
    parser.add_argument(
        "--transform", default="identity", choices=("identity", "synthetic", "aces2-sdr")
    )
    return parser.parse_args()


def transform_named(name: str) -> Transform:
    """The identity, a made-up smooth one, or the exact transform of an output transform."""
    if name == "identity":
        return lambda signal: signal
    return synthetic if name == "synthetic" else exact_transform(grade_named(name))


def main() -> None:
    asked = arguments()
    width, height = (int(side) for side in asked.size.split("x"))
    warm()
    transform = transform_named(asked.transform)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cube = folder / "grade.cube"
        write_cube(cube, transform, CUBE_POINTS)
        clip = folder / "clip.mov"
        make_clip(clip, width, height, asked.frames, asked.source)
        table = kernel_table(transform, TABLE_POINTS, 1.0)
        job = Job(clip, load_spec(asked.spec), asked.quality, table, cube, folder)
        head = (
            f"{asked.size}, {asked.frames} frames, {asked.source} to {asked.spec} {asked.quality}"
        )
        sys.stdout.write(f"{head}, {os.cpu_count()} cores\n{compare(job, asked.rounds)}\n")


if __name__ == "__main__":
    main()
