"""Checking a pack of looks: its structure, its checksums, its index, and each table anew.

Nothing is unpacked to disk. A pack that is not ours is checked as far as it goes: what would be
unsafe to open, its checksums where it has any, and what its tables are.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Final, Literal

import msgspec

from evenhand.grade.look_file import read_look
from evenhand.jobs import packindex
from evenhand.jobs.lookpack import MOST, in_pool
from evenhand.jobs.packindex import PackedLook, PackIndex
from evenhand.jobs.packtext import places_left, readme
from evenhand.jobs.packverify import check_look_in_pack
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.luts.archive_read import MAX_MEMBERS, Archive, ArchiveError, directory_of
from evenhand.luts.errors import LookFileError
from evenhand.measure.looks.kind import look_kind

Level = Literal["fail", "note"]

_TEXT_BYTES: Final = 8 << 20
_SUM: Final = re.compile(r"([0-9a-f]{64}) [ *](.+)\Z")
_READ: Final = (".cube", ".clf", ".cc", ".ccc", ".cdl")
_NEEDED: Final = (packindex.INDEX, packindex.SUMS, packindex.README, packindex.LICENCE,
                  packindex.SHEET)  # fmt: skip


class Finding(msgspec.Struct, frozen=True):
    """One thing about a pack: `fail` is wrong, `note` is worth knowing."""

    level: Level
    member: str
    says: str


class PackChecked(msgspec.Struct, frozen=True, kw_only=True):
    """What a check found. `ours` says whether it has an index of the kind that evenhand writes."""

    path: str
    sha256: str
    ours: bool
    members: int
    looks: int
    tables: int
    findings: tuple[Finding, ...]

    @property
    def passes(self) -> bool:
        """Whether nothing is wrong."""
        return all(finding.level != "fail" for finding in self.findings)


def check_pack(path: Path, progress: Progress = silent) -> PackChecked:
    """Check a pack. ArchiveError where it is no zip that can be read at all."""
    try:
        if path.exists() and not path.is_file():  # opening a pipe would wait for ever
            raise ArchiveError(path, "this is not a regular file", "Name a pack: a zip archive")
        with path.open("rb") as file:
            total = path.stat().st_size
            archive = directory_of(file, total, str(path))
            sha256 = _sha256(archive)
            return _checked(path, archive, sha256, progress)
    except OSError as error:
        found = f"it cannot be read: {error.strerror or error}"
        raise ArchiveError(path, found, "Name a pack: a zip archive") from error


def _sha256(archive: Archive) -> str:
    whole = hashlib.sha256()
    archive.file.seek(0)
    while piece := archive.file.read(1 << 20):
        whole.update(piece)
    return whole.hexdigest()


def _checked(path: Path, archive: Archive, sha256: str, progress: Progress) -> PackChecked:
    findings = [Finding("fail", name, says) for name, says in archive.problems]
    sums, broken = _sums_of(archive, progress)
    findings += broken
    index, said = _index(archive)
    findings += said
    if packindex.SUMS in archive.members:
        findings += _against_list(archive, sums)
    if index is None:
        others, tables = _of_others(archive, broken, progress)
        findings += others
    else:
        findings += _structure(archive, index, sums)
        tables = sum(len(look.tables) for look in index.looks)
        findings += _looks(archive, index, progress)
    return PackChecked(
        path=str(path),
        sha256=sha256,
        ours=index is not None,
        members=len(archive.members),
        looks=len(index.looks) if index else 0,
        tables=tables,
        findings=tuple(findings),
    )


def _sums_of(archive: Archive, progress: Progress) -> tuple[dict[str, str], list[Finding]]:
    """The SHA-256 of each member, and those that cannot be unpacked."""
    names = [name for name, member in archive.members.items() if not member.is_folder]

    def summed(name: str) -> str | ArchiveError:
        try:
            return hashlib.sha256(archive.read(name)).hexdigest()
        except ArchiveError as error:
            return error

    def told(name: str, number: int, total: int) -> None:
        progress(Step("sums", name.rpartition("/")[2], number, total))

    found = dict(zip(names, in_pool(names, summed, told), strict=True))
    broken = [Finding("fail", n, e.found) for n, e in found.items() if isinstance(e, ArchiveError)]
    for finding in broken:
        del archive.members[finding.member]
    return {n: s for n, s in found.items() if isinstance(s, str)}, broken


def _text(archive: Archive, name: str) -> bytes | None:
    member = archive.members.get(name)
    return None if member is None or member.size > _TEXT_BYTES else archive.read(name)


def _index(archive: Archive) -> tuple[PackIndex | None, list[Finding]]:
    name = packindex.INDEX
    data = _text(archive, name)
    if data is None:
        return None, [Finding("note", name, "not there: this pack is not of our making")]
    try:
        head = msgspec.json.decode(data, type=_Head)
        if head.format != packindex.FORMAT:
            return None, [Finding("note", name, "of another kind: this pack is not of our making")]
        if head.version != packindex.VERSION:
            says = f"version {head.version}; this evenhand reads {packindex.VERSION}"
            return None, [Finding("fail", name, says)]
        index = msgspec.json.decode(data, type=PackIndex)
        tables = sum(len(look.tables) for look in index.looks)
        if len(index.looks) > MOST or tables > MAX_MEMBERS:
            return None, [Finding("fail", name, f"{len(index.looks)} looks, {tables} tables")]
        return index, []
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        return None, [Finding("fail", name, f"it cannot be read: {error}")]


class _Head(msgspec.Struct):
    format: str = ""
    version: int = 0


def _against_list(archive: Archive, sums: dict[str, str]) -> list[Finding]:
    """The list of checksums against the members: wrong, extra, missing, unreadable lines."""
    name = packindex.SUMS
    data = _text(archive, name)
    listed: dict[str, str] = {}
    findings = []
    for number, line in enumerate((data or b"").decode("utf-8", "replace").splitlines(), 1):
        match = _SUM.match(line)
        if match is None:
            findings.append(Finding("fail", name, f"line {number} is no checksum"))
        elif match[2] in listed:
            findings.append(Finding("fail", name, f"{match[2][:80]!r} is listed twice"))
        else:
            listed[match[2]] = match[1]
    for listed_name, wanted in listed.items():
        if listed_name not in sums:
            findings.append(Finding("fail", listed_name, f"missing, though {name} lists it"))
        elif sums[listed_name] != wanted:
            findings.append(Finding("fail", listed_name, f"changed: not the bytes of {name}"))
    extra = [member for member in sums if member not in listed and member != name]
    return findings + [
        Finding("fail", member, f"extra: {name} does not list it") for member in extra
    ]


def _structure(archive: Archive, index: PackIndex, sums: dict[str, str]) -> list[Finding]:
    """The members against the index: all that it names and nothing else."""
    findings = [Finding("fail", n, "missing") for n in _NEEDED if n not in archive.members]
    stated = {look.document: look.sha256 for look in index.looks}
    stated |= {table.path: table.sha256 for look in index.looks for table in look.tables}
    for name, wanted in stated.items():
        if name not in sums:
            findings.append(Finding("fail", name, f"missing, though {packindex.INDEX} names it"))
        elif sums[name] != wanted:
            findings.append(Finding("fail", name, f"not the file that {packindex.INDEX} names"))
    known = {*stated, *_NEEDED, packindex.NOTICE}
    findings += [
        Finding("fail", name, f"extra: {packindex.INDEX} does not name it")
        for name in archive.members
        if name not in known
    ]
    text = _text(archive, packindex.README)
    if text is not None and text != readme(index):
        says = f"not the words that this evenhand writes for {packindex.INDEX}"
        findings.append(Finding("note", packindex.README, says))
    if len({look.name for look in index.looks}) != len(index.looks):
        findings.append(Finding("fail", packindex.INDEX, "two looks of one name"))
    paths = [table.path for look in index.looks for table in look.tables]
    if len(set(paths)) != len(paths):
        findings.append(Finding("fail", packindex.INDEX, "one table named twice"))
    left = places_left((_text(archive, packindex.LICENCE) or b"").decode("utf-8", "replace"))
    if left:
        says = f"{left} places wait to be filled in; pack again with --licence"
        findings.append(Finding("note", packindex.LICENCE, says))
    return findings


def _looks(archive: Archive, index: PackIndex, progress: Progress) -> list[Finding]:
    def verified(look: PackedLook) -> list[tuple[Level, str, str]]:
        return check_look_in_pack(archive, look)

    def told(look: PackedLook, number: int, total: int) -> None:
        progress(Step("check", look.name, number, total))

    found = in_pool(index.looks, verified, told)
    return [Finding(*finding) for findings in found for finding in findings]


def _of_others(
    archive: Archive, broken: list[Finding], progress: Progress
) -> tuple[list[Finding], int]:
    """What the tables of a pack of somebody else are; how many there are."""
    names = [n for n in archive.members if Path(n).suffix.lower() in _READ]

    def tested(name: str) -> Finding:
        try:
            file = read_look(archive.read(name), Path(name).name)
        except LookFileError as error:
            return Finding("fail", name, f"{error.found}")
        except ArchiveError as error:
            return Finding("fail", name, error.found)
        said = file.declared
        declared = f"says {said.space} to {said.gives}; " if said else ""
        return Finding("note", name, f"{declared}{look_kind(file.look).says}")

    findings = in_pool(names, tested, lambda n, i, of: progress(
        Step("check", n.rpartition("/")[2], i, of)))  # fmt: skip
    if not names:
        findings.append(Finding("fail", "pack", "no table in it that is read"))
    return findings, len(names)
