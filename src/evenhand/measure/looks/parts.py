"""What is measured of a look, made ready: its table and its colours at each strength."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from evenhand.grade.spaces import DISPLAY, gives_of
from evenhand.grade.tables import lattice_of
from evenhand.kernels import tetrahedra
from evenhand.measure.looks.probes import Floats, even_points, probes
from evenhand.measure.looks.space import Transform, on_display
from evenhand.measure.looks.table import grid, interpolation, interpolation_of_table

_POINTS: Final = 4096


class AnyLook(Protocol):
    """What health asks of a look; `gives` and `is_neutral` are taken where it has them."""

    @property
    def name(self) -> str: ...

    @property
    def space(self) -> str: ...

    def apply(self, signal: Floats) -> Floats: ...


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A look at one strength, as display signal that may leave 0..1.

    `table` (n, n, n, 3), [b, g, r]; `probed` what it makes of `probes().signal`, None where that is
    to be read from the table; `error` of the table, CIEDE2000 at the 99th percentile.
    """

    strength: float
    table: Floats
    probed: Floats | None
    error: float


def shows(look: AnyLook) -> bool:
    """Whether the look takes a display's signal and gives it."""
    return look.space == gives_of(look) == DISPLAY


def mixed(signal: Floats, looked: Floats, strength: float) -> Floats:
    """A look at a strength; at 1 the look itself, bit by bit."""
    return looked if strength == 1.0 else signal + strength * (looked - signal)


def of_display_look(look: AnyLook, size: int, strengths: Sequence[float]) -> list[Part]:
    """A look for a display, worked out once and mixed."""
    table, points, signal = lattice_of(look, size), even_points(_POINTS), probes().signal
    read = np.clip(tetrahedra.read(table, points), 0.0, 1.0)
    exact, probed = np.clip(look.apply(points), 0.0, 1.0), look.apply(signal)
    return [
        Part(
            strength,
            mixed(grid(size), table, strength),
            mixed(signal, probed, strength),
            interpolation(mixed(points, read, strength), mixed(points, exact, strength)),
        )
        for strength in strengths
    ]


def of_table(lattice: Floats, strengths: Sequence[float]) -> list[Part]:
    """A table for a display; what it was made from is not known, so its error is estimated."""
    whole, nodes = interpolation_of_table(lattice), grid(len(lattice))
    return [Part(s, mixed(nodes, lattice, s), None, whole * s) for s in strengths]


def of_look(look: AnyLook, size: int, strengths: Sequence[float]) -> list[Part]:
    """A look of another space, as it acts on the display: see `healthspace`."""
    table, points, nodes = lattice_of(look, size), even_points(_POINTS), grid(size)
    parts = []
    for strength in strengths:
        exact = _seen(look.apply, look, strength)
        read = _seen(lambda signal: tetrahedra.read(table, signal), look, strength)
        shown = exact(nodes.reshape(-1, 3)).reshape(nodes.shape)
        error = interpolation(read(points), exact(points))
        parts.append(Part(strength, shown, exact(probes().signal), error))
    return parts


def _seen(transform: Transform, look: AnyLook, strength: float) -> Transform:
    """A look at a strength, from display signal to display signal, cut to 0..1.

    A conversion gives another space than it expects: there is nothing to mix it with before it is
    on the display.
    """
    if look.space == gives_of(look):
        inside = on_display(lambda v: mixed(v, transform(v), strength), look.space, gives_of(look))
        return lambda signal: np.clip(inside(signal), 0.0, 1.0)
    whole = on_display(transform, look.space, gives_of(look))
    return lambda v: mixed(v, np.clip(whole(v), 0.0, 1.0), strength)
