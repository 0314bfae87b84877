"""The grade compiled to one lattice, and its distance from the exact transform.

The lattice is tried at rising sizes, first with equal steps and then with steps shaped to the clip,
until it is within the bound of `fidelity` on the clip's own pixels and on the stress set. If none
is, the nearest is given and its report says so.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import msgspec
import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding
from evenhand.colourmath.ycbcr import to_codes
from evenhand.grade.document import Grade
from evenhand.grade.exact import (
    SIGNAL_HIGH,
    SIGNAL_LOW,
    LookByName,
    clean_signal,
    exact_transform,
    to_working,
)
from evenhand.grade.fidelity import NEUTRAL_BOUND, CompileReport, Differences, differences
from evenhand.grade.lattice import Codes, Lattice, bake
from evenhand.grade.renderings import output_encoding
from evenhand.grade.shaping import shaped_axis
from evenhand.grade.stress import neutral_signals, stress_signals

if TYPE_CHECKING:
    from evenhand.kernels.table import KernelTable

# Raise it whenever the same grade would compile to other values: cached lattices are made anew.
COMPILER_VERSION: Final = 1
SIZES: Final = (65, 97, 129)

_MEASURED: Final = 60_000
_SHAPED_BY: Final = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class CompiledGrade:
    """One lattice, what it puts out, and its report.

    `lattice` is [b, g, r, (Y', Cb, Cr, Y')] float32 in 10-bit codes of `output`; `axis` is None for
    nodes at equal steps of `domain`, else as `lattice.Lattice` has it.
    """

    lattice: NDArray[np.float32]
    size: int
    domain: tuple[float, float]
    axis: Array | None
    output: Encoding
    digest: str
    report: CompileReport

    def codes(self, signal: ArrayLike) -> Array:
        """Signal (n, 3) to output codes (n, 3), unrounded, by the reference reading."""
        return Lattice(self.lattice, self.domain, self.axis).read(signal)

    def table(self) -> KernelTable:
        """The lattice as the kernel wants it."""
        # Here, not above: the kernels load a compiler that measuring alone does not need.
        from evenhand.kernels.table import KernelTable

        axis = None if self.axis is None else self.axis.astype(np.float32)
        return KernelTable.from_lattice(self.lattice, self.domain, axis)


def grade_digest(grade: Grade) -> str:
    """SHA-256 of a grade's content and the compiler's version: the key of a baked lattice."""
    content = msgspec.json.encode(grade, order="deterministic")
    return hashlib.sha256(b"%d\n" % COMPILER_VERSION + content).hexdigest()


def compile_grade(
    grade: Grade,
    samples: ArrayLike,
    *,
    extent: tuple[float, float] | None = None,
    looks: LookByName | None = None,
    sizes: tuple[int, ...] = SIZES,
) -> CompiledGrade:
    """Compile a grade for a clip.

    `samples` (n, 3) are R'G'B' signals seen in the clip, n ≥ 1. `extent` is the least and greatest
    signal of any channel of every pixel of the clip, where somebody looked at all of them; the
    lattice then covers no more. Without it the lattice covers all that narrow codes can say,
    superwhite and sub-black too. Give one size for a quick one without a search.
    """
    seen = clean_signal(samples).reshape(-1, 3)
    transform, output = exact_transform(grade, looks), output_encoding(grade.rendering)

    def codes(signal: Array) -> Array:
        return to_codes(transform(signal), 10, output.matrix, output.range)

    domain = _domain(seen, extent)
    judge = _Judge.of(grade, _thinned(seen, _MEASURED), domain, codes, output)
    shaped_by = [_thinned(seen, _SHAPED_BY)] + [signals for signals, _ in judge.sets[1:]]
    best: tuple[float, Lattice, CompileReport] | None = None
    for lattice in _candidates(codes, shaped_by, domain, output, sizes):
        excess, report = judge.report(lattice)
        if best is None or excess < best[0]:
            best = (excess, lattice, report)
        if report.within_bound:
            break
    assert best is not None
    _, lattice, report = best
    return CompiledGrade(
        lattice=lattice.values,
        size=lattice.size,
        domain=domain,
        axis=lattice.axis,
        output=output,
        digest=grade_digest(grade),
        report=report,
    )


def _domain(seen: Array, extent: tuple[float, float] | None) -> tuple[float, float]:
    if extent is None:
        return SIGNAL_LOW, SIGNAL_HIGH
    low = max(SIGNAL_LOW, min(extent[0], float(seen.min())))
    high = min(SIGNAL_HIGH, max(extent[1], float(seen.max())))
    return (low, high) if high - low > 0.01 else (SIGNAL_LOW, SIGNAL_HIGH)


def _candidates(
    codes: Codes,
    shaped_by: list[Array],
    domain: tuple[float, float],
    output: Encoding,
    sizes: tuple[int, ...],
) -> Iterator[Lattice]:
    """The smallest size at equal steps, then every size with steps shaped to the clip."""
    yield bake(codes, sizes[0], domain, None)
    if len(sizes) > 1:
        axis = shaped_axis(codes, shaped_by, domain, output)
        for size in sizes:
            yield bake(codes, size, domain, axis)


def _thinned(samples: Array, count: int) -> Array:
    """At most `count` samples, evenly picked: the same ones every time."""
    if len(samples) <= count:
        return samples
    return samples[np.linspace(0, len(samples) - 1, count).astype(np.int64)]


@dataclass(frozen=True, slots=True)
class _Judge:
    """The sets a lattice is measured on, with their exact codes worked out once."""

    sets: tuple[tuple[Array, Array], ...]  # the clip's pixels, the stress set, the neutral axis
    output: Encoding

    @classmethod
    def of(
        cls,
        grade: Grade,
        seen: Array,
        domain: tuple[float, float],
        codes: Codes,
        output: Encoding,
    ) -> _Judge:
        neutral = neutral_signals(grade.encoding, to_working(grade))
        inside = [_inside(part, domain) for part in (stress_signals(grade.encoding), neutral)]
        return cls(tuple((part, codes(part)) for part in (seen, *inside)), output)

    def report(self, lattice: Lattice) -> tuple[float, CompileReport]:
        """(excess over the bound, report) of one lattice."""
        (seen, exact), (stress, stress_exact), (neutral, neutral_exact) = self.sets
        own = differences(exact, lattice.read(seen), self.output)
        hard = differences(stress_exact, lattice.read(stress), self.output) if len(stress) else own
        cast, keeps = 0.0, False
        if len(neutral):
            off = np.abs(lattice.read(neutral) - neutral_exact)[:, 1:]
            cast = float(off.max())
            keeps = float(np.abs(neutral_exact[:, 1:] - 512.0).max()) <= NEUTRAL_BOUND / 2.0
        excess = max(own.excess, hard.excess, cast / NEUTRAL_BOUND if keeps else 0.0)
        return excess, _report(own, hard, lattice, (cast, keeps), (len(seen), excess <= 1.0))


def _inside(signals: Array, domain: tuple[float, float]) -> Array:
    low, high = domain
    return signals[((signals >= low) & (signals <= high)).all(axis=1)]


def _report(
    own: Differences,
    hard: Differences,
    lattice: Lattice,
    neutral: tuple[float, bool],
    verdict: tuple[int, bool],
) -> CompileReport:
    return CompileReport(
        luma_p999=own.luma_p999,
        chroma_p999=own.chroma_p999,
        de_p999=own.de_p999,
        de_max=own.de_max,
        stress_luma_p999=hard.luma_p999,
        stress_chroma_p999=hard.chroma_p999,
        stress_de_p999=hard.de_p999,
        stress_de_max=hard.de_max,
        size=lattice.size,
        shaped=lattice.axis is not None,
        neutral_cast=neutral[0],
        keeps_neutral=neutral[1],
        pixels=verdict[0],
        within_bound=verdict[1],
        chroma_within_goal=max(own.chroma_p999, hard.chroma_p999) <= 1.5,
    )
