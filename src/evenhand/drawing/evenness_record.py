"""How alike the clips of a setup are, as the evenness chart takes it."""

from __future__ import annotations

import msgspec


class EvennessPoint(msgspec.Struct, frozen=True):
    """One clip's distance from the reference, in stops, mired and Duv; None where not measured.

    Positive stops are brighter, positive mired warmer, positive Duv greener.
    """

    clip: str
    before_stops: float | None = None
    before_mired: float | None = None
    before_duv: float | None = None
    after_stops: float | None = None
    after_mired: float | None = None
    after_duv: float | None = None


class Evenness(msgspec.Struct, frozen=True):
    """How alike the clips of one setup are; `outlier` names the clip furthest off before."""

    setup: str
    reference: str
    clips: tuple[EvennessPoint, ...]
    outlier: str | None = None
