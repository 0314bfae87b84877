"""The grade kernel beside FFmpeg's own chain for the same job, alternately in one process.

The job: one frame, planar 4:2:2 10-bit in, planar 4:2:0 10-bit out, a colour transform between.
FFmpeg does it by scale, lut3d (tetrahedral, 33 points) and scale, with each intermediate format of
its fast path; the fastest one counts. Both read the same transform, and both are compared with it.
Then the kernel alone, beside itself with drift and with ripple taken out.

    python bench/kernel.py                              # phone log to ACES 2 SDR, UHD
    python bench/kernel.py --transform synthetic --rounds 30
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import av
import msgspec
import numpy as np
from av.filter import Graph
from numpy.typing import NDArray

from evenhand.colourmath.encodings import named
from evenhand.colourmath.ycbcr import MATRICES
from evenhand.grade.compiled import compile_grade
from evenhand.grade.document import Grade, Ripple, Steadying
from evenhand.grade.exact import exact_transform
from evenhand.grade.steadying import moves_of, row_fractions
from evenhand.kernels.frame import PlaneFormat, Planes
from evenhand.kernels.grade import grade_planes, warm
from evenhand.kernels.planes import planes_to_signal
from evenhand.kernels.table import KernelTable, SteadyMoves

Array = NDArray[np.floating]
Transform = Callable[[Array], Array]
Run = Callable[[], object]

SOURCE, TARGET = PlaneFormat(10, 2, 1), PlaneFormat(10, 2, 2)
INTERMEDIATES = ("gbrpf32le", "gbrp16le")
BT709 = MATRICES["bt709"]
# Exposure and white that drift, and mains light on top: half a second in, both are at work.
DRIFT = Steadying((0.0, 1.0), (0.0, 0.8), (0.0, 30.0), (0.0, 0.006), clip=0.95)
RIPPLE = Ripple(hertz=100.0, readout=0.02, cosine=0.1, sine=0.2)


def synthetic(signal: Array) -> Array:
    """A log curve to a display, smooth: a toe, a shoulder, a matrix with more saturation."""
    light = 0.18 * 2.0 ** ((np.asarray(signal, float) - 0.42) * 13.0)
    grey = light @ np.array([0.2126, 0.7152, 0.0722])
    light = np.maximum(1.2 * light - 0.2 * grey[:, None], 1e-6)
    toned = light**1.1 / (light**1.1 + 0.75)
    return np.clip(toned * 1.06, 0, 1) ** (1 / 2.4)


def grade_named(output_transform: str) -> Grade:
    """A grade of first-generation phone log."""
    return Grade(encoding=named("phone-log-1"), output_transform=output_transform)  # type: ignore[arg-type]


def natural_picture(height: int, width: int, seed: int = 1) -> Planes:
    """Log signal with the spectrum of natural pictures (amplitude 1/f), soft colour and noise."""
    rng = np.random.default_rng(seed)
    down, across = np.fft.fftfreq(height)[:, None], np.fft.rfftfreq(width)[None]
    radius = np.hypot(down, across)
    radius[0, 0] = np.inf

    def field(exponent: float) -> Array:
        white = np.fft.rfft2(rng.standard_normal((height, width)).astype(np.float32))
        made = np.fft.irfft2(white * radius**-exponent, s=(height, width))
        return made / made.std()

    luma = 0.40 + 0.11 * field(1.0)
    warm_cool, green_magenta = 0.035 * field(1.3), 0.012 * field(1.3)
    rgb = np.stack([luma + warm_cool, luma + green_magenta, luma - warm_cool], -1)
    rgb += 0.005 * rng.standard_normal(rgb.shape)
    codes = codes_of(np.clip(rgb, 0.04, 1.02))
    chroma = codes[:, ::2, 1:]  # point sampled: what matters is that it is not smooth
    whole = [codes[..., 0], chroma[..., 0], chroma[..., 1]]
    return tuple(np.rint(c).astype(np.uint16) for c in whole)  # type: ignore[return-value]


def codes_of(signal: Array) -> Array:
    """R'G'B' (..., 3) -> BT.709 Y'CbCr as unrounded 10-bit narrow codes (H.273)."""
    kr, kb = BT709
    r, g, b = np.moveaxis(signal, -1, 0)
    y = kr * r + (1 - kr - kb) * g + kb * b
    cb, cr = (b - y) / (2 * (1 - kb)), (r - y) / (2 * (1 - kr))
    return np.stack([64 + 876 * y, 512 + 896 * cb, 512 + 896 * cr], -1)


def lattice_points(size: int) -> Array:
    """Signals of all nodes in the order b, g, r, (N^3, 3) as r, g, b."""
    line = np.linspace(0.0, 1.0, size)
    b, g, r = np.meshgrid(line, line, line, indexing="ij")
    return np.stack([r, g, b], -1).reshape(-1, 3)


def kernel_table(transform: Transform, size: int, bend: float) -> KernelTable:
    """The transform as the kernel's table; `bend` other than 1 puts its nodes along an axis."""
    axis = None if bend == 1.0 else (np.linspace(0, 1, 513) ** bend).astype(np.float32)
    nodes = KernelTable.from_lattice(np.zeros((size,) * 3 + (4,), np.float32), axis=axis).nodes()
    places = np.rint(lattice_points(size) * (size - 1)).astype(int)
    lattice = np.zeros((size**3, 4), np.float32)
    lattice[:, :3] = codes_of(transform(nodes[places]))
    return KernelTable.from_lattice(lattice.reshape(size, size, size, 4), axis=axis)


def compiled_table(grade: Grade, planes: Planes) -> tuple[KernelTable, str]:
    """The table that a master would use for this picture, and what the compiler says of it."""
    signal = planes_to_signal(planes, SOURCE, BT709).reshape(-1, 3)
    extent = float(signal.min()), float(signal.max())
    compiled = compile_grade(grade, signal[:: max(1, len(signal) // 200_000)], extent=extent)
    table = compiled.table()
    bent = "a polynomial axis" if len(table.curve) else "a looked-up axis"
    steps = "equal steps" if compiled.axis is None else bent
    bound = "within" if compiled.report.within_bound else "NOT within"
    return table, f"{compiled.size}^3 on {steps}, {bound} the bound"


def write_cube(path: Path, transform: Transform, size: int) -> None:
    """The transform as the text table that lut3d reads: R'G'B' to R'G'B', red fastest."""
    rows = "\n".join(f"{r:.7f} {g:.7f} {b:.7f}" for r, g, b in transform(lattice_points(size)))
    path.write_text(f"LUT_3D_SIZE {size}\n{rows}\n")


def frame_of(planes: Planes, pixel_format: str) -> av.VideoFrame:
    """Planes as a frame for the filters."""
    height, width = planes[0].shape
    frame = av.VideoFrame(width, height, pixel_format)
    for plane, values in zip(frame.planes, planes, strict=True):
        memory = np.frombuffer(plane, np.uint16).reshape(plane.height, -1)
        memory[:, : plane.width] = values
    return frame


class Chain:
    """FFmpeg's scale, lut3d, scale with one intermediate format."""

    def __init__(self, frame: av.VideoFrame, cube: Path, between: str, threads: int) -> None:
        self.frame, self.count = frame, 0
        self.graph = Graph()
        self.graph.threads = threads
        matrix = f"in_color_matrix=bt709:out_color_matrix=bt709:flags=bilinear:threads={threads}"
        steps = [
            self.graph.add_buffer(template=None, width=frame.width, height=frame.height,
                                  format=frame.format, time_base="1/25"),
            self.graph.add("scale", matrix),
            self.graph.add("format", between),
            self.graph.add("lut3d", f"file={cube}:interp=tetrahedral"),
            self.graph.add("scale", matrix),
            self.graph.add("format", "yuv420p10le"),
            self.graph.add("buffersink"),
        ]  # fmt: skip
        for first, second in pairwise(steps):
            first.link_to(second)
        self.source, self.sink = steps[0], steps[-1]
        self.graph.configure()

    def __call__(self) -> av.VideoFrame:
        self.frame.pts = self.count
        self.count += 1
        self.source.push(self.frame)
        return self.sink.pull()

    def planes(self) -> Planes:
        """The result as arrays."""
        out = []
        for plane in self().planes:
            memory = np.frombuffer(plane, np.uint16).reshape(plane.height, -1)
            out.append(memory[:, : plane.width].copy())
        return tuple(out)  # type: ignore[return-value]


@dataclass(frozen=True)
class Bench:
    """What is compared: a picture, a table of each kind."""

    planes: Planes
    table: KernelTable
    cube: Path

    def kernel(self, threads: int, moves: SteadyMoves | None = None) -> tuple[Run, Planes]:
        """A call that grades the picture, and where the result goes."""
        out = TARGET.empty(*self.planes[0].shape)
        return lambda: grade_planes(
            self.planes, SOURCE, BT709, self.table, out, TARGET, moves=moves, threads=threads
        ), out

    def chain(self, between: str, threads: int) -> Chain:
        return Chain(frame_of(self.planes, "yuv422p10le"), self.cube, between, threads)


def milliseconds(run: Run) -> float:
    start = time.perf_counter()
    run()
    return 1e3 * (time.perf_counter() - start)


def compare_speed(bench: Bench, threads: int, rounds: int) -> str:
    """Medians, and the median of the ratios of neighbouring runs."""
    kernel, _ = bench.kernel(threads)
    chains = {name: bench.chain(name, threads) for name in INTERMEDIATES}
    for run in (kernel, *chains.values(), kernel, *chains.values()):
        run()
    times: dict[str, list[float]] = {name: [] for name in ("kernel", *chains)}
    for _ in range(rounds):
        times["kernel"].append(milliseconds(kernel))
        for name, chain in chains.items():
            times[name].append(milliseconds(chain))
    medians = {name: statistics.median(values) for name, values in times.items()}
    fastest = min(chains, key=lambda name: medians[name])
    ratios = [k / f for k, f in zip(times["kernel"], times[fastest], strict=True)]
    low, middle, high = np.percentile(ratios, (10, 50, 90))
    shown = ", ".join(f"{name} {medians[name]:.1f} (min {min(times[name]):.1f})" for name in times)
    return (
        f"{threads} thread{'s' if threads > 1 else ''}: {shown} ms; "
        f"kernel / {fastest}, pair by pair: {middle:.3f} (10-90 %: {low:.3f} to {high:.3f})"
    )


def compare_steadying(bench: Bench, threads: int, rounds: int) -> str:
    """Medians as the clip is, with drift and with ripple, and ratios of neighbouring runs.

    On one thread its own processor time is taken, which other work on the machine disturbs less.
    """
    encoding, rows = named("phone-log-1"), row_fractions(len(bench.planes[0]))
    ripple = msgspec.structs.replace(DRIFT, ripple=RIPPLE)
    kinds = {"as it is": None, "drift": DRIFT, "ripple": ripple}
    clock = time.thread_time if threads == 1 else time.perf_counter
    runs: dict[str, Run] = {}
    for name, steadying in kinds.items():
        moves = moves_of(steadying, encoding, 0.5, rows)
        runs[name], _ = bench.kernel(threads, moves)
    times: dict[str, list[float]] = {name: [] for name in runs}
    for run in runs.values():
        run()
    for _ in range(rounds):
        for name, run in runs.items():
            start = clock()
            run()
            times[name].append(1e3 * (clock() - start))
    plain = times["as it is"]
    parts = []
    for name, taken in times.items():
        ratio = statistics.median(t / p for t, p in zip(taken, plain, strict=True))
        parts.append(f"{name} {statistics.median(taken):.1f} ms, ratio {ratio:.2f}")
    return f"steadying, {threads} thread{'s' if threads > 1 else ''}: " + "; ".join(parts)


def exact_planes(planes: Planes, transform: Transform) -> list[Array]:
    """Unrounded codes of the exact transform, chroma filtered to its sites."""
    signal = planes_to_signal(planes, SOURCE, BT709).astype(float)
    codes = codes_of(transform(signal.reshape(-1, 3))).reshape(signal.shape)
    wide = np.pad(codes[..., 1:], ((0, 0), (1, 1), (0, 0)), mode="edge")
    chroma = (0.25 * wide[:, :-2] + 0.5 * wide[:, 1:-1] + 0.25 * wide[:, 2:])[:, ::2]
    chroma = 0.5 * (chroma[0::2] + chroma[1::2])
    return [codes[..., 0], chroma[..., 0], chroma[..., 1]]


def error_line(name: str, result: Planes, exact: list[Array]) -> str:
    """Differences from the exact transform in 10-bit codes; rounding alone makes 0.5 of them."""
    parts = []
    for label, pick in (("luma", slice(0, 1)), ("chroma", slice(1, 3))):
        pairs = zip(result[pick], exact[pick], strict=True)
        error = np.concatenate([np.abs(a - b).ravel() for a, b in pairs])
        mean, p999 = error.mean(), np.percentile(error, 99.9)
        parts.append(f"{label} mean {mean:.2f}, p99.9 {p999:.2f}, max {error.max():.1f}")
    return f"{name}: " + "; ".join(parts)


def compare_error(transform: Transform, bench: Bench) -> list[str]:
    """How far both are from the exact transform, rounding included."""
    exact = exact_planes(bench.planes, transform)
    kernel, out = bench.kernel(1)
    kernel()
    lines = [error_line("kernel", out, exact)]
    chains = (bench.chain(name, 1).planes() for name in INTERMEDIATES)
    lines += [error_line(n, c, exact) for n, c in zip(INTERMEDIATES, chains, strict=True)]
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--size", default="3840x2160", help="width x height, even")
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--threads", type=int, nargs="+", default=[1, 2])
    parser.add_argument(
        "--lattice",
        type=int,
        help="nodes a side for the kernel; default: the grade compiled to its bound",
    )
    parser.add_argument("--cube", type=int, default=33, help="nodes a side, for FFmpeg")
    parser.add_argument("--bend", type=float, default=1.0, help="exponent of a bent axis of nodes")
    parser.add_argument(
        "--transform", default="aces2-sdr", choices=("aces2-sdr", "plain-sdr", "synthetic")
    )
    options = parser.parse_args()
    width, height = (int(n) for n in options.size.split("x"))
    say = lambda text: print(text, file=sys.stdout, flush=True)  # noqa: E731, T201
    say(f"warming up: {milliseconds(warm) / 1e3:.2f} s")
    grade = None if options.transform == "synthetic" else grade_named(options.transform)
    transform = synthetic if grade is None else exact_transform(grade)
    picture, small = natural_picture(height, width), natural_picture(540, 960, seed=2)
    size = options.lattice or 65
    if grade is None or options.lattice:
        table, note = kernel_table(transform, size, options.bend), f"{size}^3"
        small_table = table
    else:
        table, note = compiled_table(grade, picture)
        small_table, _ = compiled_table(grade, small)
    say(f"{options.size} 4:2:2 10-bit to 4:2:0 10-bit, {options.transform}")
    say(f"kernel: lattice {note}; FFmpeg: {options.cube}^3")
    with tempfile.TemporaryDirectory() as folder:
        cube = Path(folder) / "transform.cube"
        write_cube(cube, transform, options.cube)
        for threads in options.threads:
            say(compare_speed(Bench(picture, table, cube), threads, options.rounds))
            say(compare_steadying(Bench(picture, table, cube), threads, options.rounds))
        say("differences from the exact transform, 10-bit codes, rounding included:")
        for line in compare_error(transform, Bench(small, small_table, cube)):
            say("  " + line)


if __name__ == "__main__":
    main()
