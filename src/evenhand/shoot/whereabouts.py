"""Where cards and folders are now: a drive comes back under another mount, or with its shoot.

A folder is looked for beside the shoot first, as it lay from the shoot's own folder, then where it
was last seen. A card is known again by the fingerprints of its clips, whatever its name is.
"""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import islice
from pathlib import Path

from evenhand.errors import ShootError
from evenhand.names import kept_path, real_path
from evenhand.shoot.document import CardEntry, ClipEntry, FolderEntry, Shoot
from evenhand.shoot.store import load

_SAMPLE = 1 << 20
_FEW = 12  # files that tell which card this is


def fingerprint(path: Path) -> str:
    """SHA-256 over size, first and last mebibyte: finds a clip again, cheap on a slow drive."""
    size = path.stat().st_size
    digest = hashlib.sha256(str(size).encode())
    with path.open("rb") as file:
        digest.update(file.read(_SAMPLE))
        if size > 2 * _SAMPLE:
            file.seek(-_SAMPLE, 2)
        digest.update(file.read(_SAMPLE))
    return digest.hexdigest()[:32]


def beside(folder: Path, shoot_folder: Path) -> str:
    """How a folder lies from the shoot's, with forward slashes; empty where they share only a root.

    A shoot in a person's home and a card on a drive have nothing to do with each other: moving one
    says nothing of where the other is.
    """
    here, there = shoot_folder.absolute().resolve(), folder.absolute().resolve()
    shared = os.path.commonpath([here, there]) if here.drive == there.drive else ""
    if len(Path(shared).parts) < 2:
        return ""
    return kept_path(Path(os.path.relpath(there, here)).as_posix())


def folder_entry(folder: Path, shoot_folder: Path) -> FolderEntry:
    """The record of a folder as it is seen now."""
    return FolderEntry(kept_path(str(folder.absolute())), beside(folder, shoot_folder))


def places_of(entry: FolderEntry | CardEntry, shoot_folder: Path) -> tuple[Path, ...]:
    """Where a recorded folder may be, the likeliest first."""
    here, last = shoot_folder.absolute(), Path(real_path(entry.path))
    near = [Path(os.path.normpath(here / real_path(entry.beside)))] if entry.beside else []
    return (*near, here.parent / last.name, last)


def found_folder(entry: FolderEntry | CardEntry, shoot_folder: Path) -> Path | None:
    """Where a recorded folder is now, or None."""
    return next((p for p in places_of(entry, shoot_folder) if p.is_dir()), None)


def card_of(shoot: Shoot, card: Path, prints: Iterable[str], shoot_folder: Path) -> str | None:
    """The name under which the shoot knows the card in a folder, or None where it is a new one.

    Most of its clips decide, so that another card under the same mount is not taken for it; where
    none of them is known, the folder does, if nothing that it held is elsewhere to be seen.
    """
    prints = set(prints)
    shared = Counter(c.card for c in shoot.clips if c.fingerprint in prints)
    if shared:
        return shared.most_common(1)[0][0]
    for entry in shoot.cards:
        known = any(c.card == entry.name for c in shoot.clips)
        if not known and card.absolute() in places_of(entry, shoot_folder):
            return entry.name
    return None


def shoot_that_knows(card: Path, here: Path) -> Path | None:
    """The shoot, in this folder or beside a card, that a card was scanned into; None if none was.

    Whatever the card's folder is called now: a few of its clips tell.
    """
    folders = sorted({*here.glob("*.shoot"), *card.absolute().parent.glob("*.shoot")})
    if not folders or not card.is_dir():
        return None
    prints = set(_some_prints(card))
    for folder in folders:
        try:
            shoot = load(folder)
        except ShootError:
            continue
        if card_of(shoot, card, prints, folder) is not None:
            return folder
    return None


def _some_prints(card: Path) -> Iterator[str]:
    """Fingerprints of the first few large files of a card."""
    files = (p for p in sorted(card.rglob("*")) if not p.name.startswith("."))
    for path in islice((p for p in files if p.is_file()), _FEW):
        with suppress(OSError):
            yield fingerprint(path)


def original(shoot: Shoot, clip: ClipEntry, shoot_folder: Path) -> Path:
    """Where the original of a clip is now.

    Raises ShootError where its card is not there, and where another file lies under its name.
    """
    card = next(c for c in shoot.cards if c.name == clip.card)
    candidates = [place / real_path(clip.path) for place in places_of(card, shoot_folder)]
    path = next((p for p in candidates if p.exists()), None)
    if path is None:
        raise ShootError(
            candidates[-1],
            f"the original is not here (the card {card.name} was last seen at {card.path})",
            "Connect the drive, or scan the card where it is now: evenhand scan CARD",
        )
    if path.stat().st_size != clip.bytes or fingerprint(path) != clip.fingerprint:
        raise ShootError(
            path,
            f"this is another file than the one that was scanned as {clip.id}",
            "Scan the card again: evenhand scan CARD",
        )
    return path
