"""A pack of looks for a shop: tables, documents, contact sheet, words, checksums and index.

The same looks and options give the same bytes, in whatever order they were named. Every table is
read back and compared before it is packed, and the zip is whole or absent.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar, cast

import msgspec

from evenhand.atomic import whole_file
from evenhand.errors import LookMisplacedError, UsageError
from evenhand.grade.clf import one_line
from evenhand.grade.packtables import OUTPUT_TRANSFORM, Conversions, Setting, settings_of
from evenhand.grade.recipe import Recipe
from evenhand.grade.spaces import gives_of
from evenhand.jobs import packindex
from evenhand.jobs.looks import FoundLook
from evenhand.jobs.looksheet import look_sheet, sheet_file
from evenhand.jobs.packhealth import advised, health_in_pack, packed_health
from evenhand.jobs.packindex import PackedLook, PackedTable, PackIndex, TableKind
from evenhand.jobs.packnotice import notice
from evenhand.jobs.packtable import Baking, written_tables
from evenhand.jobs.packtext import licence, percent, readme, shipped
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.luts.archive import Packed, packed, pieces
from evenhand.measure.looks.health import Health
from evenhand.measure.looks.kind import look_kind
from evenhand.measure.looks.parts import AnyLook
from evenhand.measure.looks.place import check_declared
from evenhand.media.target import check_target
from evenhand.smallfiles import read_small

MOST: Final = 200
_NAME_LENGTH: Final = 120
_LICENCE_BYTES: Final = 1 << 20
_THREADS: Final = min(4, os.cpu_count() or 1)
_T = TypeVar("_T")
_R = TypeVar("_R")


@dataclass(frozen=True, slots=True, kw_only=True)
class PackOptions:
    """What a person says of a pack; sizes and kinds of file that are empty mean the usual ones.

    `strength` 0..1 is baked into every table. `licence` is the text of a licence that is filled in,
    None for the one to fill in.
    """

    name: str = "Looks"
    seller: str = ""
    sizes: tuple[int, ...] = ()
    kinds: tuple[TableKind, ...] = ()
    strength: float = 1.0
    allow_failing: bool = False
    licence: bytes | None = None


class PackMade(msgspec.Struct, frozen=True, kw_only=True):
    """A pack that was written: where, how large, the SHA-256 of the zip and of its list of sums."""

    path: str
    bytes: int
    sha256: str
    contents: str
    members: int
    index: PackIndex


@dataclass(frozen=True, slots=True)
class _Entry:
    """A look on its way into a pack, under the name that it has there."""

    name: str
    found: FoundLook
    health: Health
    settings: tuple[Setting, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]


def pack_looks(
    looks: Sequence[FoundLook],
    to: Path,
    options: PackOptions,
    *,
    overwrite: bool = False,
    progress: Progress = silent,
) -> PackMade:
    """Write a pack, whole or not at all.

    Raises UsageError for looks that share a name, fail their health (unless that is allowed) or
    give no table, LookMisplacedError for one declared for what it is not, TargetError.
    """
    if not 0.0 < options.strength <= 1.0:
        raise UsageError("--strength", "no look is left at 0 %", "Give more, up to 100 %")
    for option, words in (("--name", options.name), ("--seller", options.seller)):
        if not words.isprintable() or len(words) > _NAME_LENGTH:
            raise UsageError(option, "it is long or unprintable", "Give one short line")
    if to.suffix.lower() != ".zip":
        raise UsageError(to, "a pack is a zip archive", "End the name with .zip")
    check_target(to, overwrite=overwrite)
    entries = _entries(looks, options, progress)
    members: dict[str, Packed] = {}
    sums: dict[str, str] = {}

    def add(name: str, data: bytes) -> None:
        sums[name] = hashlib.sha256(data).hexdigest()
        members[name] = packed(name, data)

    packed_looks = _tables(entries, options, (members, sums), progress)
    index = PackIndex(
        name=options.name,
        seller=options.seller,
        output_transform=OUTPUT_TRANSFORM,
        looks=packed_looks,
    )
    for entry in entries:
        add(_document(entry), entry.found.content)
    add(packindex.SHEET, _sheet(entries, options, progress))
    add(packindex.README, readme(index))
    add(packindex.LICENCE, licence(index) if options.licence is None else options.licence)
    ours = shipped(packed_looks)
    if ours:
        add(packindex.NOTICE, notice(ours))
    add(packindex.INDEX, packindex.written(index))
    text = "".join(f"{sums[name]}  {name}\n" for name in sorted(sums)).encode()
    members[packindex.SUMS] = packed(packindex.SUMS, text)
    return _write(to, list(members.values()), text, index, overwrite)


def read_licence(path: Path) -> bytes:
    """A licence text from disk. UsageError for what cannot be read, is large or is no text."""

    def refused(found: str) -> UsageError:
        return UsageError(path, found, "Name a text file")

    data = read_small(path, _LICENCE_BYTES, refused)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise UsageError(path, "this is not UTF-8 text", "Save it as plain text") from error
    return data


def _write(
    to: Path, members: Sequence[Packed], sums: bytes, index: PackIndex, overwrite: bool
) -> PackMade:
    total, whole = 0, hashlib.sha256()
    check_target(to, overwrite=overwrite, needs=sum(len(m.stored) + 400 for m in members))
    with whole_file(to) as partial, partial.open("wb") as file:
        for piece in pieces(members):
            total += len(piece)
            whole.update(piece)
            file.write(piece)
    return PackMade(
        path=str(to),
        bytes=total,
        sha256=whole.hexdigest(),
        contents=hashlib.sha256(sums).hexdigest(),
        members=len(members),
        index=index,
    )


def _entries(
    looks: Sequence[FoundLook], options: PackOptions, progress: Progress
) -> tuple[_Entry, ...]:
    """The looks by name, each tested; the failing ones are named together."""
    if not 1 <= len(looks) <= MOST:
        raise UsageError("look pack", f"{len(looks)} looks", f"Name 1 to {MOST}")
    named: dict[str, FoundLook] = {}
    for found in looks:
        name = _safe(found)
        if name in named:
            remedy = "Leave one out, or give one of the files another name"
            raise UsageError(name, "two looks have this name in the pack", remedy)
        named[name] = found

    def examine(name: str) -> _Entry:
        return _examined(name, named[name], options)

    entries = in_pool(sorted(named), examine, lambda name, n, of: progress(
        Step("health", name, n, of)))  # fmt: skip
    failing = [e for e in entries if e.health.verdict == "fail"]
    if failing and not options.allow_failing:
        said = "; ".join(f"{e.name}: {_worst(e.health)}" for e in failing)
        remedy = (
            "Correct them (evenhand look check), bake them in weaker with --strength, "
            "or pack them all the same with --allow-failing, which is then told in the pack"
        )
        raise UsageError("look pack", f"looks that fail their health: {said}", remedy)
    return tuple(entries)


def _worst(health: Health) -> str:
    fault = health.strengths[-1].faults[0]
    passes = health.passes_at
    at = f"; nothing fails at {percent(passes)}" if passes else ""
    return f"{fault.words} ({fault.name} {fault.value:.3g} {fault.unit}{at})"


def _examined(name: str, found: FoundLook, options: PackOptions) -> _Entry:
    look = found.look
    settings, left_out = settings_of(look, options.strength)
    if not settings:
        raise UsageError(found.name, "; ".join(left_out), "Leave it out of this pack")
    placing = check_declared(look_kind(look), look.space, gives_of(look))
    if placing.verdict == "disagrees":
        raise LookMisplacedError(found.name, placing.says, placing.remedy)
    notes = []
    if placing.verdict == "doubtful":
        notes = [f"{placing.says}; {placing.remedy[:1].lower()}{placing.remedy[1:]}"]
    if found.file is not None:
        notes += found.file.warnings
    health = health_in_pack(cast(AnyLook, look), options.strength)
    return _Entry(name, found, health, settings, left_out, tuple(notes))


def _tables(
    entries: Sequence[_Entry],
    options: PackOptions,
    into: tuple[dict[str, Packed], dict[str, str]],
    progress: Progress,
) -> tuple[PackedLook, ...]:
    conversions = Conversions()
    bakings = [
        Baking(
            *(entry.name, _title(entry), entry.found.look, options.strength),
            *(setting, size, entry.found.digest),
        )
        for entry in entries
        for setting in entry.settings
        for size in (options.sizes or (setting.size,))
    ]
    for baking in bakings:
        conversions.at_nodes(baking.setting, baking.size)
    made: dict[str, list[PackedTable]] = {entry.name: [] for entry in entries}

    def bake(baking: Baking) -> list[tuple[PackedTable, Packed]]:
        return written_tables(baking, conversions, options.kinds)

    def told(baking: Baking, number: int, total: int) -> None:
        progress(Step("pack", baking.label, number, total))

    for baking, tables in zip(bakings, in_pool(bakings, bake, told), strict=True):
        for table, member in tables:
            made[baking.name].append(table)
            into[0][table.path] = member
            into[1][table.path] = table.sha256
    return tuple(_packed_look(entry, made[entry.name], options) for entry in entries)


def _packed_look(entry: _Entry, tables: Sequence[PackedTable], options: PackOptions) -> PackedLook:
    found, look = entry.found, entry.found.look
    is_recipe = isinstance(look, Recipe)
    return PackedLook(
        name=entry.name,
        title=_title(entry),
        purpose=look.purpose if isinstance(look, Recipe) else "",
        kind="moves" if found.file is None else found.file.kind,
        space=look.space,
        gives=gives_of(look),
        neutral=bool(getattr(look, "is_neutral", False)),
        moves=look.moves if isinstance(look, Recipe) else (),
        effects=tuple(look.effects.words) if isinstance(look, Recipe) else (),
        document=_document(entry),
        sha256=hashlib.sha256(found.content).hexdigest(),
        digest=found.digest if is_recipe else hashlib.sha256(found.content).hexdigest(),
        correction=found.correction,
        strength=options.strength,
        advised=advised(entry.health),
        health=packed_health(entry.health),
        tables=tuple(sorted(tables, key=lambda table: table.path)),
        left_out=entry.left_out,
        notes=entry.notes,
    )


def _document(entry: _Entry) -> str:
    path = entry.found.path
    suffix = ".toml" if path is None else path.suffix.lower()
    return f"{packindex.DOCUMENTS}/{entry.name}{suffix}"


def _title(entry: _Entry) -> str:
    title = one_line(str(getattr(entry.found.look, "title", "")))
    return title[:100] or entry.name


def _safe(found: FoundLook) -> str:
    """A name for files: small letters, digits and hyphens."""
    name = re.sub(r"[^a-z0-9]+", "-", found.name.lower()).strip("-")[:48].strip("-")
    if not name:
        raise UsageError(found.name, "its name has no letter or digit", "Rename the file")
    return name


def _sheet(entries: Sequence[_Entry], options: PackOptions, progress: Progress) -> bytes:
    """The contact sheet at the strength that is baked in.

    Full strength is measured beside it and left out again, as in `health_in_pack`.
    """
    strengths = (options.strength, 1.0)[: 1 if options.strength == 1.0 else 2]
    found = [entry.found for entry in entries]
    model = look_sheet(found, strengths, title=options.name, progress=progress)
    looks = tuple(msgspec.structs.replace(look, rows=look.rows[:1]) for look in model.looks)
    return sheet_file(msgspec.structs.replace(model, looks=looks), "png")


def in_pool(
    items: Sequence[_T],
    work: Callable[[_T], _R],
    told: Callable[[_T, int, int], None],
) -> list[_R]:
    """Work on each item in threads, results in the items' order; told as each is done.

    Where one fails, or a person stops, those that have not begun are dropped.
    """
    pool = ThreadPoolExecutor(_THREADS, thread_name_prefix="pack")
    try:
        futures = {pool.submit(work, item): item for item in items}
        for number, future in enumerate(as_completed(futures), 1):
            future.result()
            told(futures[future], number, len(items))
        return [future.result() for future in futures]
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
