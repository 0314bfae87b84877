"""A look as a file's bytes: `.cube`, CLF or ASC CDL, read back and compared before it is given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import TargetError, UsageError
from evenhand.grade.cdl_file import to_cdl
from evenhand.grade.cdl_fit import DEFAULT_BOUND, cdl_of
from evenhand.grade.clf import to_clf
from evenhand.grade.exact import Look
from evenhand.grade.look_file import read_look
from evenhand.grade.spaces import gives_of
from evenhand.grade.tables import lattice_of
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.declared import sentence
from evenhand.luts.tables import Table3D

ExportKind = Literal["cube", "clf", "cc", "ccc", "cdl"]

SIZES: Final = (17, 33, 65)
_TETRAHEDRAL: Final = "read the table by tetrahedral interpolation"
# Six decimals for .cube; CLF's seven end in float32, and a CDL has ten digits.
_TOLERANCE: Final = {"cube": 5.1e-7, "clf": 1e-6, "cc": 1e-6, "ccc": 1e-6, "cdl": 1e-6}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportedLook:
    """A file's bytes. `lost` says what the format could not hold, "" where it holds all.

    `read_back` is the largest difference between what was meant and what the file gives when it is
    read again, in signal.
    """

    data: bytes
    kind: ExportKind
    size: int | None
    read_back: float
    lost: str = ""


def export_table(
    look: Look,
    kind: Literal["cube", "clf"],
    size: int = 33,
    title: str = "",
    comments: Sequence[str] = (),
) -> ExportedLook:
    """A look as a table of 17, 33 or 65 nodes a side, over 0..1 of the space it expects.

    The file says which spaces it expects and gives; `comments` stand after that in a `.cube`.
    UsageError for another size, TargetError where the file does not read back as it was meant.
    """
    if size not in SIZES:
        raise UsageError(f"size {size}", "is not one of 17, 33 and 65", "33 is for display looks")
    lattice = lattice_of(look, size)
    space, gives = look.space, gives_of(look)
    if kind == "clf":
        data = to_clf(lattice, title, space, gives)
    else:
        about = (sentence(space, gives), _TETRAHEDRAL, *comments)
        data = write(CubeFile(three=Table3D(lattice), title=title, comments=about))
    return ExportedLook(
        data=data, kind=kind, size=size, read_back=_compared(data, kind, title, lattice, look)
    )


def export_cdl(
    look: Look,
    kind: Literal["cc", "ccc", "cdl"],
    title: str,
    bound: float = DEFAULT_BOUND,
) -> ExportedLook:
    """The part of a look that a CDL can hold, where that is all of it within `bound` 10-bit codes.

    UsageError, which says what would be lost, for a look that no CDL comes near enough to.
    """
    fit = cdl_of(look, title, bound)
    space = look.space
    data = to_cdl([(title, fit.cdl)], kind, space, gives_of(look))
    again = read_look(data, f"{title}.{kind}", correction=title).look
    colours = lattice_of(look, 9).reshape(-1, 3)
    missing = lattice_of(again, 9).reshape(-1, 3) - colours
    worst = float(np.abs(missing).max())
    if worst > max(bound, fit.colours, fit.greys) / 1023.0 + _TOLERANCE[kind]:
        raise _differs(title, worst)
    return ExportedLook(data=data, kind=kind, size=None, read_back=worst, lost=fit.says)


def _compared(data: bytes, kind: ExportKind, title: str, lattice: Array, look: Look) -> float:
    """Read a file back; the largest difference at its nodes, refused beyond the digits it has."""
    file = read_look(data, f"{title or 'look'}.{kind}")
    worst = float(np.abs(lattice_of(file.look, lattice.shape[0]) - lattice).max())
    if worst > _TOLERANCE[kind] or file.look_spaces != (look.space, gives_of(look)):
        raise _differs(title, worst)
    return worst


def _differs(title: str, worst: float) -> TargetError:
    return TargetError(
        title or "look",
        f"its file differs from what was meant when it is read back, by {worst:.2g}",
        "Report it: this is a fault in evenhand",
    )
