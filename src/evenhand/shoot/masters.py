"""Masters that were made and verified: kept in the measurement database, one record a file."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import msgspec

from evenhand.grade.fidelity import CompileReport
from evenhand.names import kept_path, real_path
from evenhand.shoot.document import ClipEntry
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.whereabouts import beside

# Raise it whenever a record would say something else of the same file.
VERSION = 2
_KIND = f"master {VERSION} "


class MasterCheck(msgspec.Struct, frozen=True):
    """One line of a master's verification."""

    name: str
    expected: str
    found: str
    ok: bool


class MasterEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A master that was verified and handed over, and how it was made.

    `path` is where it was written, `beside` how that lies from the shoot's folder (empty where it
    does not). `grade` is the digest of the grade, `spec_digest` that of the spec; `shape` is how
    the picture fits the frame, `part` how much of the clip it is. `repeated` and `dropped` count
    frames of the conform, `worst_time_error` (seconds) is how far a frame is shown from when it was
    shot, `lost` counts frames that could not be decoded, `seconds` is how long it took. `settings`
    are the encoder's.
    """

    clip: str
    spec: str
    spec_digest: str
    quality: str
    shape: str
    part: str
    path: str
    bytes: int
    grade: str
    frames: int
    repeated: int
    dropped: int
    worst_time_error: float
    lost: int
    seconds: float
    size: tuple[int, int]
    settings: dict[str, str]
    compiled: CompileReport
    checks: tuple[MasterCheck, ...]
    beside: str = ""


def keep_master(
    measurements: Measurements, folder: Path, clip: ClipEntry, entry: MasterEntry
) -> MasterEntry:
    """Keep the record of a master that lies under `entry.path`; returns it as it is kept."""
    path = Path(real_path(entry.path))
    near = beside(path.parent, folder)
    entry = msgspec.structs.replace(entry, beside=f"{near}/{kept_path(path.name)}" if near else "")
    measurements.keep(clip.fingerprint, _kind(path), entry)
    return entry


def masters_of(
    measurements: Measurements, folder: Path, clip: ClipEntry
) -> Iterator[tuple[MasterEntry, Path]]:
    """The masters of a clip and where they are now: as they lay from the shoot, or where they were.

    A master that is in neither place has the path at which it was written.
    """
    for kind in measurements.kinds(clip.fingerprint, _KIND):
        entry = measurements.recall(clip.fingerprint, kind, MasterEntry)
        if entry is None or entry.clip != clip.id:
            continue
        near, written = real_path(entry.beside), Path(real_path(entry.path))
        here = Path(os.path.normpath(folder.absolute() / near)) if near else None
        yield entry, here if here is not None and here.is_file() else written


def _kind(path: Path) -> str:
    return _KIND + hashlib.sha256(os.fsencode(path)).hexdigest()[:24]
