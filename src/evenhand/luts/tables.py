"""Tables as arrays: what the files of every format hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Triple = tuple[float, float, float]

ZERO: Final[Triple] = (0.0, 0.0, 0.0)
ONE: Final[Triple] = (1.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Table1D:
    """A curve for each channel: `values` (n, 3) float64, at equal steps from `low` to `high`."""

    values: NDArray[np.float64]
    low: Triple = ZERO
    high: Triple = ONE

    @property
    def size(self) -> int:
        """Nodes of a curve."""
        return int(self.values.shape[0])


@dataclass(frozen=True, slots=True, eq=False)
class Table3D:
    """A lattice: `values` (n, n, n, 3) float64, [blue, green, red], at equal steps a channel.

    `low` and `high` are the inputs of the first and last node of red, green and blue.
    """

    values: NDArray[np.float64]
    low: Triple = ZERO
    high: Triple = ONE

    @property
    def size(self) -> int:
        """Nodes a side."""
        return int(self.values.shape[0])
