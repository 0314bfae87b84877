"""The grade compiled to one lattice, and its distance from the exact transform.

The lattice is tried at equal steps, then with steps shaped to the clip, until it is within the
bound of `fidelity` on the clip's own pixels and on the stress set. If none is, the nearest is given
and its report says so. Its nodes are fitted to every second pixel of the clip and to colours
between those of the stress set; what is measured was never fitted to.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

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
    FindLook,
    clean_signal,
    exact_transform,
    to_working,
)
from evenhand.grade.fidelity import NEUTRAL_BOUND, CompileReport, Differences, differences
from evenhand.grade.lattice import Codes, Lattice, bake, fitted
from evenhand.grade.output_transforms import output_encoding
from evenhand.grade.shaping import shaped_axis, smooth_axis
from evenhand.grade.stress import neutral_signals, stress_signals

if TYPE_CHECKING:
    from evenhand.kernels.table import KernelTable

# Raise it whenever the same grade would compile to other values: cached lattices are made anew.
COMPILER_VERSION: Final = 3

_MEASURED: Final = 60_000
_SHAPED_BY: Final = 20_000
_FEW: Final = 2_000

_Set = tuple[Array, Array]  # signals and their exact codes
_Axis = tuple[Array | None, tuple[int, ...]]  # places of the nodes, and how many a side to try


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
    looks: FindLook | None = None,
    size: int | None = None,
) -> CompiledGrade:
    """Compile a grade for a clip.

    `samples` (n, 3) are R'G'B' signals seen in the clip, n ≥ 1. `extent` is the least and greatest
    signal of any channel of every pixel of the clip, where somebody looked at all of them; the
    lattice then covers no more. Without it the lattice covers all that narrow codes can say,
    superwhite and sub-black too. `size` means a quick one: so many equal steps, no search.
    """
    seen = clean_signal(samples).reshape(-1, 3)
    transform, output = exact_transform(grade, looks), output_encoding(grade.output_transform)

    def codes(signal: Array) -> Array:
        return to_codes(transform(signal), 10, output.matrix, output.range)

    domain = _domain(seen, extent)
    judge = _Judge(_exact_sets(grade, _every_second(seen, 1), domain, codes, 0.0), output)
    fit = _exact_sets(grade, _every_second(seen, 0), domain, codes, 0.5)
    search = _search(codes, fit, domain, output) if size is None else iter([(None, (size,))])
    best: _Try | None = None
    for found in _tries(codes, fit, judge, search, domain):
        if best is None or found.excess < best.excess:
            best = found
        if found.report.within_bound:
            break
    assert best is not None
    lattice, report = best.lattice, best.report
    return CompiledGrade(
        lattice=lattice.values,
        size=lattice.size,
        domain=domain,
        axis=lattice.axis,
        output=output,
        digest=grade_digest(grade),
        report=report,
    )


class _Try(NamedTuple):
    """A lattice, and by how much it is over the bound (1 is on it)."""

    excess: float
    lattice: Lattice
    report: CompileReport


def _tries(
    codes: Codes,
    fit: tuple[_Set, ...],
    judge: _Judge,
    search: Iterator[_Axis],
    domain: tuple[float, float],
) -> Iterator[_Try]:
    """Lattices in the order of the search, without sizes that cannot do."""
    for axis, sizes in search:
        last: _Try | None = None
        for size in sizes:
            if last and last.excess > _hopeless(last.lattice.size, size):
                continue
            lattice = fitted(bake(codes, size, domain, axis), *_joined(fit))
            excess, report = judge.report(lattice)
            last = _Try(excess, lattice, report)
            yield last


def _search(
    codes: Codes, fit: tuple[_Set, ...], domain: tuple[float, float], output: Encoding
) -> Iterator[_Axis]:
    """Axes with the sizes to try on them, the ones that the kernel reads fastest first.

    Equal steps cost the kernel nothing, a polynomial a little, any other axis most; sizes cost it
    next to nothing, and the compiler the cube of them.
    """
    yield None, (65, 129)
    axis = shaped_axis(codes, [_thinned(s, _SHAPED_BY) for s, _ in fit], domain, output)
    yield smooth_axis(axis), (97, 129)
    yield axis, (129,)


def _domain(seen: Array, extent: tuple[float, float] | None) -> tuple[float, float]:
    if extent is None:
        return SIGNAL_LOW, SIGNAL_HIGH
    low = max(SIGNAL_LOW, min(extent[0], float(seen.min())))
    high = min(SIGNAL_HIGH, max(extent[1], float(seen.max())))
    return (low, high) if high - low > 0.01 else (SIGNAL_LOW, SIGNAL_HIGH)


def _hopeless(have: int, want: int) -> float:
    """The excess at `have` nodes from which `want` nodes cannot help: errors fall by the square."""
    return 1.5 * ((want - 1) / (have - 1)) ** 2


def _thinned(samples: Array, count: int) -> Array:
    """At most `count` samples, evenly picked: the same ones every time."""
    if len(samples) <= count:
        return samples
    return samples[np.linspace(0, len(samples) - 1, count).astype(np.int64)]


def _every_second(samples: Array, first: int) -> Array:
    """Half of the samples, to fit to or to measure on; a few samples serve both."""
    half = samples[first::2] if len(samples) >= _FEW else samples
    return _thinned(half, _MEASURED)


def _exact_sets(
    grade: Grade, seen: Array, domain: tuple[float, float], codes: Codes, shift: float
) -> tuple[_Set, ...]:
    """The clip's pixels, the stress set and the neutral axis, with their exact codes."""
    stress = stress_signals(grade.encoding, shift)
    neutral = neutral_signals(grade.encoding, to_working(grade), shift)
    parts = (seen, _inside(stress, domain), _inside(neutral, domain))
    return tuple((part, codes(part)) for part in parts)


def _joined(sets: tuple[_Set, ...]) -> _Set:
    signals, codes = zip(*sets, strict=True)
    return np.concatenate(signals), np.concatenate(codes)


@dataclass(frozen=True, slots=True)
class _Judge:
    """The sets a lattice is measured on: the clip's pixels, the stress set, the neutral axis."""

    sets: tuple[_Set, ...]
    output: Encoding

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
