"""The health of a look as a pack holds it: its strengths are those of the table."""

from __future__ import annotations

import msgspec

from evenhand.measure.looks.health import STRENGTHS, Health, health_of_look
from evenhand.measure.looks.limits import Verdict
from evenhand.measure.looks.parts import AnyLook


class Fault(msgspec.Struct, frozen=True):
    """One measure of a look's health that is not passed."""

    key: str
    name: str
    value: float
    unit: str
    verdict: Verdict


class PackedStrength(msgspec.Struct, frozen=True):
    """Health at one strength of the table, 1 being the table as it is: the verdict and why."""

    strength: float
    verdict: Verdict
    faults: tuple[Fault, ...]
    figures: dict[str, float]


def health_in_pack(look: AnyLook, strength: float) -> Health:
    """Health of a look of which `strength` is baked in, at shares of that strength.

    The look's full strength is measured too and left out again: a black and white that is mixed in
    takes colour away because it is meant to, which only its full strength tells.
    """
    parts = [share * strength for share in STRENGTHS]
    whole = health_of_look(look, strengths=parts if strength == 1.0 else [*parts, 1.0])
    at_shares = tuple(
        msgspec.structs.replace(part, strength=share)
        for part, share in zip(whole.strengths, STRENGTHS, strict=False)
    )
    return msgspec.structs.replace(whole, strengths=at_shares)


def packed_health(health: Health) -> tuple[PackedStrength, ...]:
    """The health of a look in the index: three decimals, and no words."""
    return tuple(
        PackedStrength(
            strength=part.strength,
            verdict=part.verdict,
            faults=tuple(
                Fault(m.key, m.name, round(m.value, 3), m.unit, m.verdict) for m in part.faults
            ),
            figures={measure.key: round(measure.value, 3) for measure in part.measures},
        )
        for part in health.strengths
    )


def advised(health: Health) -> float | None:
    """The greatest strength at which all passes, or else nothing fails; None if there is none."""
    fine = [part.strength for part in health.strengths if part.verdict == "pass"]
    return max(fine, default=health.passes_at)
