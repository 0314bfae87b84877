"""One look of a pack against its own document: tables at every node, errors, kind and health."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import PurePosixPath
from typing import Final, Literal

import msgspec
import numpy as np

from evenhand.errors import EvenhandError
from evenhand.grade.exact import Look
from evenhand.grade.look_export import SIZES
from evenhand.grade.look_file import FileLook, read_look
from evenhand.grade.packtables import Setting, exact_values, node_signal, settings_of
from evenhand.grade.recipe import Recipe, digest, parse
from evenhand.grade.spaces import gives_of
from evenhand.jobs.packhealth import health_in_pack
from evenhand.jobs.packindex import PackedLook, PackedTable
from evenhand.jobs.packtable import Baking, at_nodes, measured
from evenhand.jobs.packtext import percent
from evenhand.luts.archive_read import Archive
from evenhand.luts.declared import Declared
from evenhand.luts.errors import LookFileError
from evenhand.measure.looks.errors import Errors
from evenhand.measure.looks.kind import look_kind
from evenhand.measure.looks.place import check_declared

Told = tuple[Literal["fail", "note"], str, str]

# The digits of the files, and for combined tables what the conversion in float32 may differ from
# one machine to another: a twentieth of a 10-bit code.
_OWN: Final = 2e-6
_COMBINED: Final = 5e-5
_SPARE: Final = 0.02


def check_look_in_pack(archive: Archive, look: PackedLook) -> list[Told]:
    """What is wrong with a look in a pack, as (level, member, words)."""
    if look.document not in archive.members:
        return []  # told already
    if not 0.0 < look.strength <= 1.0:
        return [("fail", look.document, f"a strength of {look.strength:g} in the index")]
    try:
        made = _document(archive.read(look.document), look)
        findings = list(_statement(made, look))
        settings = {s.key: s for s in settings_of(made, look.strength)[0]}
    except EvenhandError as error:
        return [("fail", look.document, f"it cannot be read as a look: {error.found}")]
    for table in look.tables:
        if table.path not in archive.members:
            continue  # told already
        setting = settings.get(table.place)
        if setting is None or not _fits(table, setting):
            findings.append(("fail", table.path, "its look gives no table for such a place"))
            continue
        try:
            findings += _table(archive.read(table.path), table, setting, made, look)
        except EvenhandError as error:
            findings.append(("fail", table.path, error.found))
    return findings


def _document(data: bytes, look: PackedLook) -> Recipe | FileLook:
    name = PurePosixPath(look.document).name
    if look.kind != "moves":
        declared = Declared(look.space, look.gives)
        return read_look(data, name, declared, look.correction).look
    try:
        return parse(data.decode("utf-8"), name)
    except UnicodeDecodeError as error:
        raise LookFileError(name, "this is not UTF-8 text", "A look document is TOML") from error


def _fits(table: PackedTable, setting: Setting) -> bool:
    stated = (table.expects, table.gives, table.log)
    is_there = table.path.startswith(setting.folder + "/") and table.size in SIZES
    return is_there and stated == (setting.expects, setting.gives, setting.log)


def _statement(made: Recipe | FileLook, look: PackedLook) -> Iterator[Told]:
    """What the index says of a look against the look itself."""
    if (made.space, gives_of(made)) != (look.space, look.gives):
        yield "fail", look.document, f"made for {made.space}, and the index says {look.space}"
    if isinstance(made, Recipe):
        if digest(made) != look.digest:
            yield "fail", look.document, "another look than the index names"
        if (made.title, made.purpose, made.moves) != (look.title, look.purpose, look.moves):
            yield "fail", look.document, "its title, purpose or moves are not those of the index"
    health = health_in_pack(made, look.strength)
    stated = tuple((part.strength, part.verdict) for part in look.health)
    found = tuple((part.strength, part.verdict) for part in health.strengths)
    if stated != found:
        told = ", ".join(f"{verdict} at {percent(strength)}" for strength, verdict in found)
        yield "fail", look.document, f"its health is {told}, which is not what the index says"
    if health.verdict != "pass":
        faults = "; ".join(fault.words for fault in health.strengths[-1].faults)
        yield "note", look.document, f"its health: {health.verdict} ({faults})"


def _table(
    data: bytes, table: PackedTable, setting: Setting, made: Look, look: PackedLook
) -> Iterator[Told]:
    file = read_look(data, PurePosixPath(table.path).name)
    if file.kind != table.kind or file.look_spaces != (table.expects, table.gives):
        spaces = " to ".join(file.look_spaces)
        yield "fail", table.path, f"it is {file.kind} for {spaces}, unlike its index"
        return
    baking = Baking(look.name, look.title, made, look.strength, setting, table.size)
    exact = exact_values(made, look.strength, setting, node_signal(table.size))
    off = np.abs(at_nodes(file.look, table.size) - exact).max(axis=1)
    allowed = _OWN if setting.log is None else _COMBINED
    wrong = int((off > allowed).sum())
    if wrong:
        codes = 1023.0 * off.max()
        yield "fail", table.path, f"{wrong} of its nodes are not the look's, by {codes:.3g} codes"
        return
    found = measured(file.look, baking)
    for name in ("natural", "stress"):
        worse = _worse(getattr(found, name), getattr(table.errors, name))
        if worse:
            yield "fail", table.path, f"on {name} colours {worse}"
    placing = check_declared(look_kind(file.look), table.expects, table.gives)
    if placing.verdict == "disagrees":
        yield "fail", table.path, placing.says
    elif placing.verdict == "doubtful":
        yield "note", table.path, placing.says


def _worse(found: Errors, stated: Errors) -> str:
    """Which errors are larger than stated, in words."""
    pairs = zip(msgspec.structs.astuple(found), msgspec.structs.astuple(stated), strict=True)
    names = found.__struct_fields__
    return "; ".join(
        f"{name} is {value:g}, and {told:g} is stated"
        for name, (value, told) in zip(names, pairs, strict=True)
        if not value <= 1.02 * told + _SPARE
    )
