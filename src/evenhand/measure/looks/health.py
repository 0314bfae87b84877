"""The health of a look: what it does to tones, greys, hues and skins, with a verdict on each.

Everything is measured on what a BT.709 display shows (BT.1886, black 0, 100 cd/m²). Where the look
itself is known the colours are worked out; of a table they are read by tetrahedra, as pictures are.
Strength mixes in the look's own space.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import msgspec
import numpy as np

from evenhand.grade.spaces import gives_of
from evenhand.grade.tables import TableLook
from evenhand.kernels import tetrahedra
from evenhand.measure.looks import colour, table, tone
from evenhand.measure.looks.limits import LIMITS, NEUTRAL_CAST, RANK, Limit, Verdict, not_asked
from evenhand.measure.looks.parts import (
    AnyLook,
    Part,
    of_display_look,
    of_look,
    of_table,
    shows,
)
from evenhand.measure.looks.probes import Floats, probes, seen

STRENGTHS: Final = (0.5, 0.7, 1.0)
SIZE: Final = 33


class Measure(msgspec.Struct, frozen=True, kw_only=True):
    """One figure of a look: what it is, how it is judged, and what to do about it.

    `key` stays the same from version to version; `name`, `words` and `remedy` are for people, and
    the remedy is empty where nothing is wrong.
    """

    key: str
    name: str
    value: float
    unit: str
    verdict: Verdict
    words: str
    remedy: str = ""


class AtStrength(msgspec.Struct, frozen=True, kw_only=True):
    """All measures at one strength, 0..1; the verdict is the worst of them."""

    strength: float
    verdict: Verdict
    measures: tuple[Measure, ...]

    def value(self, key: str) -> float:
        """One figure; KeyError where it was not asked, as hue of black and white is not."""
        return {measure.key: measure.value for measure in self.measures}[key]

    @property
    def faults(self) -> tuple[Measure, ...]:
        """What is not passed, the worst first."""
        found = (measure for measure in self.measures if measure.verdict != "pass")
        return tuple(sorted(found, key=lambda measure: -RANK[measure.verdict]))


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """The health of a look at several strengths, rising.

    `size`: nodes a side of the table that was measured; `neutral`: the look says that greys stay
    grey; `black_and_white`: at the greatest strength no hue is left.
    """

    look: str
    space: str
    size: int
    neutral: bool
    black_and_white: bool
    strengths: tuple[AtStrength, ...]

    @property
    def verdict(self) -> Verdict:
        """The verdict at the greatest strength."""
        return self.strengths[-1].verdict

    def at(self, strength: float) -> AtStrength:
        """The measures at one of the strengths; KeyError for another."""
        return {part.strength: part for part in self.strengths}[strength]

    @property
    def passes_at(self) -> float | None:
        """The greatest of the strengths at which nothing fails; None where there is none."""
        fine = [part.strength for part in self.strengths if part.verdict != "fail"]
        return max(fine, default=None)


def health_of_look(
    look: AnyLook, size: int = SIZE, strengths: Sequence[float] = STRENGTHS
) -> Health:
    """The health of a look; its table is taken with size³ nodes (2..256).

    A look that is a table is measured at its own nodes. `strengths` rise within 0..1. Raises
    UsageError when the look's space has no name.
    """
    return health_of_parts(look, parts_of(look, size, strengths))


def parts_of(look: AnyLook, size: int, strengths: Sequence[float]) -> list[Part]:
    """A look made ready at each strength, for `health_of_parts` and for pictures."""
    own = _own_lattice(look)
    if own is not None:
        return of_table(own, strengths)
    return (of_display_look if shows(look) else of_look)(look, size, strengths)


def health_of_parts(look: AnyLook, parts: Sequence[Part]) -> Health:
    """The health of a look that was made ready."""
    neutral = bool(getattr(look, "is_neutral", False))
    converts = look.space != gives_of(look)
    return _health(look.name, look.space, (neutral, converts), parts)


def at_strengths(health: Health, strengths: Collection[float]) -> Health:
    """The same, of some of its strengths alone."""
    kept = tuple(part for part in health.strengths if part.strength in strengths)
    return msgspec.structs.replace(health, strengths=kept)


def health_of_table(
    lattice: Floats, name: str, strengths: Sequence[float] = STRENGTHS, neutral: bool = False
) -> Health:
    """The health of a table (n, n, n, 3), [b, g, r] over 0..1, of a look for a display."""
    return _health(name, "bt709-display", (neutral, False), of_table(lattice, strengths))


def figures(lattice: Floats, out: Floats | None = None) -> dict[str, float]:
    """All that is measured on a look for a display, by key, without verdicts.

    `lattice` is its table (n, n, n, 3); `out` what it makes of `probes().signal`, where that is
    known better than by reading the table. Both may leave 0..1, which a display cuts.
    """
    shown = seen(tetrahedra.read(lattice, probes().signal) if out is None else out)
    held = np.clip(lattice, 0.0, 1.0)
    even = table.even_table(held)
    found = tone.tone(shown) | tone.tint(shown) | tone.grey_bend(shown)
    found |= tone.banding(shown) | table.bends(even) | table.detail(even)
    found |= table.gamut(lattice) | table.folds(held)
    found |= colour.hues(shown) | colour.tears(shown) | colour.saturation(shown)
    found |= colour.skins(shown)
    return found | {"hues": 0.0 if colour.is_black_and_white(shown) else 1.0}


def judged(
    found: dict[str, float], neutral: bool, has_hues: bool, converts: bool = False
) -> tuple[Measure, ...]:
    """Figures with verdicts, in the order of `LIMITS`; see `not_asked` for what is left out."""
    left_out = not_asked(has_hues=has_hues, converts=converts)
    return tuple(
        _measure(key, NEUTRAL_CAST if key == "cast" and neutral else limit, found[key])
        for key, limit in LIMITS.items()
        if key in found and key not in left_out
    )


def _measure(key: str, limit: Limit, value: float) -> Measure:
    verdict = limit.verdict(value)
    return Measure(
        key=key,
        name=limit.name,
        value=value,
        unit=limit.unit,
        verdict=verdict,
        words=limit.good if verdict == "pass" else limit.fault,
        remedy="" if verdict == "pass" else limit.remedy,
    )


def _own_lattice(look: AnyLook) -> Floats | None:
    """The nodes of a look for a display that is one lattice over 0..1 and nothing else."""
    if not isinstance(look, TableLook) or not shows(look):
        return None
    table = look.three
    if table is None or look.one is not None:
        return None
    if set(table.low) != {0.0} or set(table.high) != {1.0}:
        return None
    return np.asarray(table.values[..., :3], np.float64)


def _health(name: str, space: str, says: tuple[bool, bool], parts: Sequence[Part]) -> Health:
    """`says`: whether the look says that it leaves greys grey, and that it is a conversion."""
    neutral, converts = says
    found = [figures(part.table, part.probed) | {"interpolation": part.error} for part in parts]
    # A black and white that is mixed in takes colour away from skin, and is meant to.
    has_hues, levels = bool(found[-1]["hues"]), []
    for part, figure in zip(parts, found, strict=True):
        measures = judged(figure, neutral, has_hues, converts)
        worst = max((measure.verdict for measure in measures), key=RANK.__getitem__)
        levels.append(AtStrength(strength=part.strength, verdict=worst, measures=measures))
    return Health(
        look=name,
        space=space,
        size=len(parts[-1].table),
        neutral=neutral,
        black_and_white=not has_hues,
        strengths=tuple(levels),
    )
