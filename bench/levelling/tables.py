"""Errors gathered by method and case, and written as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from evenhand.colourmath.difference import ciede2000, xyz_to_lab
from evenhand.measure import ratios

HEAD = (
    "| {} | tried | answered | stop | mired | Duv | ΔE2000 of 18 % grey |\n"
    "|---|---|---|---|---|---|---|"
)


@dataclass
class Tally:
    """What a method reached on some cases: `left` are log2 cone gains (3,) that it is off by."""

    tried: int = 0
    left: list[np.ndarray] = field(default_factory=list)

    def add(self, left: np.ndarray | None) -> None:
        """One case: what is left over, or None where the method gave no answer."""
        self.tried += 1
        if left is not None:
            self.left.append(np.asarray(left, np.float64))

    def extend(self, other: Tally) -> None:
        """The cases of another tally too."""
        self.tried += other.tried
        self.left += other.left

    def row(self, name: str) -> str:
        """One line of the table: median / 90 % / worst."""
        share = f"{len(self.left) / max(self.tried, 1):.1%}"
        if not self.left:
            return f"| {name} | {self.tried} | {share} | – | – | – | – |"
        off = [ratios.difference_of(g) for g in self.left]
        columns = (
            ([abs(d.stops) for d in off], "{:.3f}"),
            ([abs(d.mired) for d in off], "{:.1f}"),
            ([abs(d.duv) for d in off], "{:.4f}"),
            ([grey_difference(g) for g in self.left], "{:.2f}"),
        )
        cells = [_three(values, form) for values, form in columns]
        return f"| {name} | {self.tried} | {share} | {' | '.join(cells)} |"


def grey_difference(left: np.ndarray) -> float:
    """CIEDE2000 of an 18 % grey that is left off by these gains."""
    grey = np.full(3, 0.18)
    both = [xyz_to_lab(ratios.xyz_of(x)) for x in (grey, grey * ratios.ratio_of(left))]
    return float(ciede2000(both[0], both[1]))


def _three(values: Sequence[float], form: str) -> str:
    three = (np.median(values), np.quantile(values, 0.9), np.max(values))
    return " / ".join(form.format(v) for v in three)
