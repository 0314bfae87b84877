"""One table of a pack: baked, written in each kind of file, read back, compared and measured."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import TargetError
from evenhand.grade.clf import to_clf
from evenhand.grade.exact import Look
from evenhand.grade.look_file import FileLook, read_look
from evenhand.grade.packtables import Conversions, Setting, exact_values, node_signal
from evenhand.grade.tables import TableLook
from evenhand.jobs.packindex import PackedTable, TableKind
from evenhand.jobs.packtext import percent
from evenhand.luts.archive import Packed, packed
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.declared import sentence
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.errors import TableErrors, errors, samples

# Half of the last decimal of a .cube; CLF's seven end in float32.
TOLERANCE: Final = {"cube": 5.1e-7, "clf": 1e-6}


@dataclass(frozen=True, slots=True)
class Baking:
    """A table to make: a look, by its name in the pack, at a strength, in a setting, of a size.

    `digest` is the SHA-256 of the look, for a comment.
    """

    name: str
    title: str
    look: Look
    strength: float
    setting: Setting
    size: int
    digest: str = ""

    @property
    def label(self) -> str:
        """The table's name without what kind of file it is."""
        return f"{self.name}-{self.setting.tag}-{self.size}"

    def path(self, kind: TableKind) -> str:
        """Where the table lies in the pack."""
        return f"{self.setting.folder}/{self.label}.{kind}"

    def kinds(self, asked: Sequence[TableKind]) -> tuple[TableKind, ...]:
        """The kinds of file to write: large combined tables are a .cube alone, unless asked."""
        usual: tuple[TableKind, ...] = ("cube", "clf") if self.setting.log is None else ("cube",)
        return tuple(sorted(asked)) or usual


def written_tables(
    baking: Baking, conversions: Conversions, kinds: Sequence[TableKind]
) -> list[tuple[PackedTable, Packed]]:
    """Bake a table and write it. TargetError where a file does not read back as it was meant."""
    lattice = conversions.lattice(baking.look, baking.strength, baking.setting, baking.size)
    made = []
    for kind in baking.kinds(kinds):
        data = _data(baking, kind, lattice)
        look, worst = _read_back(data, baking, kind, lattice)
        table = PackedTable(
            path=baking.path(kind),
            place=baking.setting.key,
            kind=kind,
            size=baking.size,
            expects=baking.setting.expects,
            gives=baking.setting.gives,
            log=baking.setting.log,
            sha256=hashlib.sha256(data).hexdigest(),
            bytes=len(data),
            read_back=float(f"{worst:.1e}"),
            errors=measured(look, baking),
        )
        made.append((table, packed(table.path, data)))
    return made


def measured(look: FileLook, baking: Baking) -> TableErrors:
    """A table's errors against the exact look, on natural colours and on hard ones."""
    natural, hard = (
        errors(
            exact_values(baking.look, baking.strength, baking.setting, signal),
            look.apply(signal),
            baking.setting.gives,
        )
        for signal in samples(baking.setting)
    )
    return TableErrors(natural, hard)


def at_nodes(look: FileLook, size: int) -> Array:
    """What a look that was read gives at the nodes of a table of that size, (size³, 3)."""
    if isinstance(look, TableLook) and look.three is not None and look.three.size == size:
        return look.three.values.reshape(-1, 3)
    return look.apply(node_signal(size))


def _data(baking: Baking, kind: TableKind, lattice: Array) -> bytes:
    setting = baking.setting
    strength = "" if baking.strength == 1.0 else f" at {percent(baking.strength)}"
    title = f"{baking.title}{strength}, {setting.words}"
    if kind == "clf":
        return to_clf(lattice, baking.label, setting.expects, setting.gives, title)
    about = (
        sentence(setting.expects, setting.gives),
        f"the look at {percent(baking.strength)}, 0 is black and 1 is white of R'G'B' signal",
        "read the table by tetrahedral interpolation",
        f"made from the look with SHA-256 {baking.digest}",
    )
    return write(CubeFile(three=Table3D(lattice), title=title, comments=about))


def _read_back(
    data: bytes, baking: Baking, kind: TableKind, lattice: Array
) -> tuple[FileLook, float]:
    file = read_look(data, f"{baking.label}.{kind}")
    worst = float(np.abs(at_nodes(file.look, baking.size) - lattice.reshape(-1, 3)).max())
    if worst > TOLERANCE[kind] or file.look_spaces != (
        baking.setting.expects,
        baking.setting.gives,
    ):
        raise TargetError(
            baking.path(kind),
            f"it differs from what was meant when it is read back, by {worst:.2g}",
            "Report it: this is a fault in evenhand",
        )
    return file.look, worst
