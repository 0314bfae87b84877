"""The index of a pack of looks, `looks.json`: what each look is and does, and its tables."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from evenhand.jobs.packhealth import PackedStrength
from evenhand.measure.looks.errors import TableErrors
from evenhand.measure.looks.limits import Verdict

FORMAT: Final = "pack-of-looks"
VERSION: Final = 1
INDEX: Final = "looks.json"
SUMS: Final = "SHA256SUMS"
README: Final = "README.txt"
LICENCE: Final = "LICENCE.txt"
NOTICE: Final = "NOTICE.txt"
SHEET: Final = "sheet.png"
DOCUMENTS: Final = "documents"

TableKind = Literal["cube", "clf"]


class PackedTable(msgspec.Struct, frozen=True, kw_only=True):
    """One file. `place` says where it stands; `errors` how far it is from the exact look.

    `read_back` is the largest difference, in signal, between what was meant and what the file gave
    when it was read again.
    """

    path: str
    place: str
    kind: TableKind
    size: int
    expects: str
    gives: str
    log: str | None
    sha256: str
    bytes: int
    read_back: float
    errors: TableErrors


class PackedLook(msgspec.Struct, frozen=True, kw_only=True):
    """One look. `document` is the file that it is made from; `strength` is what is baked in.

    `kind` is "moves" where the document lists them, else the kind of the look file. `advised` is
    the greatest strength of the table at which its health passes, None where there is none.
    `effects` are those of the document, which no table holds.
    """

    name: str
    title: str
    purpose: str
    kind: str
    space: str
    gives: str
    neutral: bool
    moves: tuple[str, ...]
    effects: tuple[str, ...]
    document: str
    sha256: str
    digest: str
    correction: str | None
    strength: float
    advised: float | None
    health: tuple[PackedStrength, ...]
    tables: tuple[PackedTable, ...]
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The verdict on the table as it is."""
        return self.health[-1].verdict


class PackIndex(msgspec.Struct, frozen=True, kw_only=True):
    """A pack. `display` and `output_transform` say what the tables are made for and convert by."""

    format: str = FORMAT
    version: int = VERSION
    name: str
    seller: str
    display: str = "BT.709 primaries, BT.1886 with gamma 2.4, black 0, white 100 cd/m2"
    output_transform: str
    reading: str = "tetrahedral"
    looks: tuple[PackedLook, ...]


def written(index: PackIndex) -> bytes:
    """The index as it stands in the pack."""
    return msgspec.json.format(msgspec.json.encode(index), indent=2) + b"\n"
