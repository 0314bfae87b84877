"""Masters that are there: which they are by their own marks, and whether their grade is today's."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import msgspec

from evenhand import __version__
from evenhand.errors import EncodingUnknownError
from evenhand.grade.compiled import grade_digest
from evenhand.media.marks import MasterMark, read_mark, spec_digest
from evenhand.media.spec import MasterSpec
from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.masters import MasterEntry, masters_of
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.whereabouts import found_folder

State = Literal["passed", "outdated", "unverified", "away"]
_SUFFIXES: Final = (".mp4", ".mov")


class Standing(msgspec.Struct, frozen=True):
    """A master of the shoot as it is now.

    "outdated": its clip's grade has changed since. "unverified": its record is lost, or it is
    another file than the one that was verified. "away": it is not where it was written. `entry` is
    its record, where there is one.
    """

    clip: str
    spec: str
    quality: str
    path: str
    state: State
    entry: MasterEntry | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """A master that is to be there: of which clip, by which level of which spec, and where."""

    clip: ClipEntry
    grade: str
    spec: MasterSpec
    quality: str
    target: Path

    @property
    def mark(self) -> MasterMark:
        """What it is to say of itself when it is made now."""
        return MasterMark(
            clip=self.clip.fingerprint,
            id=self.clip.id,
            grade=self.grade,
            spec=self.spec.name,
            spec_digest=spec_digest(self.spec),
            quality=self.quality,
            version=__version__,
        )


@dataclass(frozen=True, slots=True)
class There:
    """What lies under the name of a master that is wanted.

    "same" and "better" stay: what is wanted, or the same at a higher quality. "lower", "respec" (of
    another content of the spec) and "outdated" are our own and make room; "foreign" does not.
    `entry` is the record of that very file.
    """

    how: Literal["nothing", "foreign", "same", "better", "lower", "respec", "outdated"]
    mark: MasterMark | None = None
    entry: MasterEntry | None = None

    @property
    def stays(self) -> bool:
        return self.how in ("same", "better")

    @property
    def ours(self) -> bool:
        return self.how not in ("nothing", "foreign")


def there(measurements: Measurements, folder: Path, wanted: Wanted) -> There:
    """What lies under the name of a master, by its own mark alone."""
    if not os.path.lexists(wanted.target):
        return There("nothing")
    meant, mark = wanted.mark, read_mark(wanted.target)
    if mark is None or (mark.clip, mark.shape, mark.part) != (meant.clip, meant.shape, meant.part):
        return There("foreign")
    if mark.grade != meant.grade:
        return There("outdated", mark)
    levels = list(wanted.spec.quality)
    if mark.spec_digest != meant.spec_digest or mark.quality not in levels:
        return There("respec", mark)
    known = masters_of(measurements, folder, wanted.clip)
    entry = next((e for e, path in known if _is(path, wanted.target) and _record_of(e, mark)), None)
    entry = entry if entry is not None and _whole(wanted.target, entry) else None
    found, asked = levels.index(mark.quality), levels.index(wanted.quality)
    return There("same" if found == asked else "better" if found > asked else "lower", mark, entry)


def shoot_masters(folder: Path, names: Sequence[str] = ()) -> tuple[Standing, ...]:
    """All masters of a shoot, or of the clips that are named, in the order of the clips."""
    shoot = store.load(folder)
    clips = [shoot.clip(name) for name in names] or shoot.usable()
    with Measurements(folder) as measurements:
        return tuple(standings(measurements, folder, shoot, clips))


def standings(
    measurements: Measurements, folder: Path, shoot: Shoot, clips: Sequence[ClipEntry]
) -> Iterator[Standing]:
    """The masters of these clips: those with a record, and those that their own marks tell of."""
    recorded = {
        clip.id: [(e, p.absolute()) for e, p in masters_of(measurements, folder, clip)]
        for clip in clips
    }
    seen = {path for known in recorded.values() for entry, path in known if _whole(path, entry)}
    marked: dict[str, list[tuple[MasterMark, Path]]] = {}
    for path in _files(folder, shoot):
        mark = None if path in seen else read_mark(path)
        if mark is not None:
            marked.setdefault(mark.clip, []).append((mark, path))
    for clip in clips:
        digest = digest_now(shoot, clip)
        mine = marked.get(clip.fingerprint, [])
        for entry, path in recorded[clip.id]:
            if path in seen:
                state: State = "passed" if entry.grade == digest else "outdated"
                yield Standing(clip.id, entry.spec, entry.quality, str(path), state, entry)
            elif not path.exists() and not any(_record_of(entry, m) for m, _ in mine):
                yield Standing(clip.id, entry.spec, entry.quality, str(path), "away", entry)
        for mark, path in mine:
            state = "unverified" if mark.grade == digest else "outdated"
            yield Standing(clip.id, mark.spec, mark.quality, str(path), state)


def digest_now(shoot: Shoot, clip: ClipEntry) -> str | None:
    """The digest of a clip's grade as it is decided now; None while its encoding is not settled."""
    try:
        return grade_digest(shoot.grade(clip))
    except EncodingUnknownError:
        return None


def _files(folder: Path, shoot: Shoot) -> Iterator[Path]:
    """The files in the folders that masters were written to, that can be masters."""
    places = {found_folder(entry, folder) for entry in shoot.master_folders}
    for place in sorted(p.absolute() for p in places if p is not None):
        for path in sorted(place.iterdir()):
            if path.suffix in _SUFFIXES and not path.name.startswith("."):
                yield path


def _record_of(entry: MasterEntry, mark: MasterMark) -> bool:
    """Whether a record tells of the master that a mark says."""
    said = (entry.grade, entry.spec_digest, entry.quality, entry.shape, entry.part)
    return said == (mark.grade, mark.spec_digest, mark.quality, mark.shape, mark.part)


def _whole(path: Path, entry: MasterEntry) -> bool:
    """Whether a file is still as large as the one that was verified."""
    return path.is_file() and path.stat().st_size == entry.bytes


def _is(path: Path, target: Path) -> bool:
    return path.absolute() == target.absolute()
