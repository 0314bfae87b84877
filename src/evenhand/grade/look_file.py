"""A look file's bytes to a look, whatever kind it is."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass

from evenhand.grade.cdl_file import CdlLook, from_corrections
from evenhand.grade.clf import StepsLook, from_clf
from evenhand.grade.spaces import DISPLAY, SPACES, space_named
from evenhand.grade.tables import TableLook
from evenhand.luts import cube
from evenhand.luts.declared import Declared, declared_in
from evenhand.luts.kinds import HEAD_BYTES, kind_of
from evenhand.luts.markup import check_markup

FileLook = TableLook | StepsLook | CdlLook


@dataclass(frozen=True, slots=True, kw_only=True)
class LookFile:
    """What a look file holds.

    `kind` is cube, clf, cc, ccc or cdl. `declared` is what the file itself says of its spaces, None
    where it says nothing; the look's own `space` and `gives` are those, or what the caller said, or
    the BT.709 display. `digest` is the SHA-256 of the bytes; `corrections` the ids of a collection.
    """

    name: str
    kind: str
    look: FileLook
    declared: Declared | None
    digest: str
    title: str = ""
    comments: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    corrections: tuple[str, ...] = ()

    @property
    def look_spaces(self) -> Declared:
        """What the look expects and gives, as it will be used."""
        return Declared(self.look.space, self.look.gives)

    def declaring(self, space: str, gives: str | None = None) -> LookFile:
        """The same with a space said by a person; it gives the space it expects unless told."""
        return dataclasses.replace(self, look=_in_space(self.look, space, gives or space))


def read_look(
    data: bytes, name: str, declared: Declared | None = None, correction: str | None = None
) -> LookFile:
    """Read a look. `declared` is what a person says of it; `correction` picks one of a collection.

    LookFileError, with the line and the reason, for what cannot be read; UsageError for a space
    that does not exist.
    """
    kind = kind_of(data[:HEAD_BYTES], len(data), name)
    found = _cube(data, name) if kind == "cube" else _markup(data, name, kind, correction)
    spaces = declared or found.declared
    if spaces is not None:
        found = found.declaring(spaces.space, spaces.gives)
    return found


def _cube(data: bytes, name: str) -> LookFile:
    file = cube.read(data, name)
    return LookFile(
        name=name,
        kind="cube",
        look=TableLook(name=name, one=file.one, three=file.three, title=file.title),
        declared=_known(declared_in(file.comments)),
        digest=hashlib.sha256(data).hexdigest(),
        title=file.title,
        comments=file.comments,
    )


def _markup(data: bytes, name: str, kind: str, correction: str | None) -> LookFile:
    markup = check_markup(data, name)
    words = markup.words
    look: FileLook
    if kind == "clf":
        look = from_clf(markup, name)
        space, gives = words.get("InputDescriptor", ""), words.get("OutputDescriptor", "")
        declared = _known(Declared(space, gives)) or _known(declared_in(words.values()))
    else:
        look = from_corrections(markup, name, correction)
        declared = _known(declared_in(words.values()))
    return LookFile(
        name=name,
        kind=kind,
        look=look,
        declared=declared,
        digest=hashlib.sha256(data).hexdigest(),
        title=look.title,
        comments=tuple(words.values()),
        warnings=look.warnings if isinstance(look, StepsLook) else (),
        corrections=tuple(label for label, _, _ in markup.corrections),
    )


def _known(declared: Declared | None) -> Declared | None:
    """What a file says, where it says it in names that exist here."""
    if declared is None or declared.space not in SPACES or declared.gives not in SPACES:
        return None
    return declared


def _in_space(look: FileLook, space: str, gives: str) -> FileLook:
    for name in (space, gives):
        if name != DISPLAY:
            space_named(name)
    return dataclasses.replace(look, space=space, gives=gives)
