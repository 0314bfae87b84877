"""What a picture of a look's health shows: curves and colours, not verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.kernels import tetrahedra
from evenhand.measure.looks.parts import Part
from evenhand.measure.looks.probes import (
    SKIN_LEVELS,
    SKINS,
    Floats,
    Seen,
    before,
    polar,
    probes,
    seen,
    signal_of,
)
from evenhand.measure.looks.tone import luma

_EVERY: Final = 8  # of the 1025 greys: what a curve on a page can show
_RAMPS: Final = 6
RAMP_NAMES: Final = ("grey", "red", "green", "blue", "skin", "sky")
# The ring that is drawn: in the middle of the display's colours.
RING_LIGHTNESS: Final = 0.7
RING_CHROMA: Final = 0.08


@dataclass(frozen=True, slots=True, eq=False)
class Traces:
    """One look at one strength.

    `signal`, `tone` (m,): luma of greys in and out, 0..1; `tint` (m, 2): a*, b* of greys out;
    `greys` (m, 3): their signal out; `ring`, `ring_out` (n, 2): Oklab a, b of hues 2 degrees apart,
    `ring_signal`, `ring_out_signal` (n, 3); `skins`, `skins_out` (levels, skins, 3): signal;
    `skin_lab`, `skin_lab_out` the same in CIELAB; `ramps`, `ramps_out`: signal (steps, 3) each.
    """

    strength: float
    signal: Floats
    tone: Floats
    tint: Floats
    greys: Floats
    ring: Floats
    ring_out: Floats
    ring_signal: Floats
    ring_out_signal: Floats
    skins: Floats
    skins_out: Floats
    skin_lab: Floats
    skin_lab_out: Floats
    ramps: tuple[Floats, ...]
    ramps_out: tuple[Floats, ...]


def traces(parts: Sequence[Part]) -> tuple[Traces, ...]:
    """Of a look at each of its strengths."""
    return tuple(_traces(part) for part in parts)


def _traces(part: Part) -> Traces:
    p, was = probes(), before()
    read = tetrahedra.read(part.table, p.signal) if part.probed is None else part.probed
    out = seen(read)
    ring = _drawn_ring()
    shape = (len(SKIN_LEVELS), len(SKINS), 3)
    return Traces(
        strength=part.strength,
        signal=p.signal[p.greys][::_EVERY, 0],
        tone=luma(out.signal[p.greys])[::_EVERY],
        tint=out.lab[p.greys][::_EVERY, 1:],
        greys=out.signal[p.greys][::_EVERY],
        ring=was.even[ring, 1:],
        ring_out=out.even[ring, 1:],
        ring_signal=was.signal[ring],
        ring_out_signal=out.signal[ring],
        skins=was.signal[p.skins].reshape(shape),
        skins_out=out.signal[p.skins].reshape(shape),
        skin_lab=was.lab[p.skins].reshape(shape),
        skin_lab_out=out.lab[p.skins].reshape(shape),
        ramps=_ramps(was),
        ramps_out=_ramps(out),
    )


def _ramps(colours: Seen) -> tuple[Floats, ...]:
    return tuple(colours.signal[ramp] for ramp in probes().eight[:_RAMPS])


def _drawn_ring() -> slice:
    """The ring of the probes that has the lightness and the chroma to be drawn."""
    wanted = signal_of(polar(RING_LIGHTNESS, RING_CHROMA, np.zeros(1)))
    assert wanted is not None
    first = [probes().signal[ring.start] for ring in probes().rings]
    away = [float(np.abs(start - wanted[0]).max()) for start in first]
    return probes().rings[int(np.argmin(away))]
