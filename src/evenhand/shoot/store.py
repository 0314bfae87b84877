"""Reading and writing a shoot's folder: whole files, clear errors, originals never touched."""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from evenhand.atomic import refused, write_whole
from evenhand.errors import ShootError
from evenhand.shoot.document import FORMAT, VERSION, ClipEntry, Shoot
from evenhand.shoot.migrations import migrated

DOCUMENT = "shoot.json"
_SAMPLE = 1 << 20


def shoot_folder(given: Path | None, here: Path) -> Path:
    """The shoot that a verb works on: the one that is named, or the only one in this folder.

    Raises ShootError where there is none, or more than one.
    """
    if given is not None:
        if not (given / DOCUMENT).is_file():
            raise ShootError(
                given, f"no shoot is here ({DOCUMENT} is missing)", "Make one: evenhand scan CARD"
            )
        return given
    found = sorted(p.parent for p in [*here.glob(f"*.shoot/{DOCUMENT}"), *here.glob(DOCUMENT)])
    if len(found) == 1:
        return found[0]
    if not found:
        raise ShootError(here, "no shoot is in this folder", "Make one: evenhand scan CARD")
    names = ", ".join(p.name for p in found)
    raise ShootError(
        here, f"{len(found)} shoots are in this folder ({names})", "Say which: --shoot DIR"
    )


def load(folder: Path) -> Shoot:
    """The shoot document of a folder. Raises ShootError when it is damaged, foreign or too new."""
    path = folder / DOCUMENT
    try:
        raw = msgspec.json.decode(path.read_bytes())
        if not isinstance(raw, dict) or raw.get("format") != FORMAT:
            raise ShootError(path, "this is not a shoot document", "Name the folder of a shoot")
        version = raw.get("version")
        if not isinstance(version, int) or version < 1:
            raise ShootError(
                path,
                f"its version is {version!r}, a whole number was expected",
                "Restore it from a copy",
            )
        if version > VERSION:
            raise ShootError(
                path,
                f"a newer evenhand wrote it (version {version}, this one reads up to {VERSION})",
                "Install the newer evenhand",
            )
        return msgspec.convert(migrated(raw, version, VERSION), Shoot)
    except msgspec.MsgspecError as error:
        raise ShootError(
            path, f"the document is damaged ({error})", "Restore it from a copy, or scan again"
        ) from error
    except OSError as error:
        raise ShootError(
            path, f"it cannot be read ({error.strerror})", "Check the path and its permissions"
        ) from error


def save(folder: Path, shoot: Shoot) -> None:
    """Write the document, indented: a person can read it, and a diff shows one decision a line."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refused(folder, error) from error
    content = msgspec.json.encode(shoot)
    msgspec.json.decode(content, type=Shoot)  # never replace a document by one that cannot be read
    write_whole(folder / DOCUMENT, msgspec.json.format(content, indent=2) + b"\n")


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


def original(shoot: Shoot, clip: ClipEntry) -> Path:
    """Where the original is now. Raises ShootError when its card is not there."""
    card = next(c for c in shoot.cards if c.name == clip.card)
    path = Path(card.path) / clip.path
    if not path.exists():
        raise ShootError(
            path,
            f"the original is not here (the card {card.name} was last seen at {card.path})",
            "Connect the drive, or scan the card where it is now: evenhand scan CARD",
        )
    return path
