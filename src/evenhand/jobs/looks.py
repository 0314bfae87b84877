"""Finding looks: those that evenhand brings, and files, of which the shoot keeps a copy of its own.

A use of a look holds the SHA-256 of its content. The copy in the shoot's `looks` folder is what is
applied, so that a file that goes missing or changes alters nothing behind a person's back: it is
noticed and told.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

from evenhand.atomic import refused, write_whole
from evenhand.errors import LookMissingError, UsageError
from evenhand.grade.document import LookUse
from evenhand.grade.looks import LOOKS, look_named
from evenhand.grade.recipe import MAX_BYTES, Recipe, digest, parse, written
from evenhand.grade.spaces import gives_of
from evenhand.luts.declared import Declared
from evenhand.luts.errors import LookFileError
from evenhand.media.look_file import read_look_bytes
from evenhand.names import kept_path, real_path, short_name
from evenhand.shoot import store
from evenhand.shoot.document import LookEntry, Shoot
from evenhand.smallfiles import read_small

if TYPE_CHECKING:
    from evenhand.grade.exact import Look
    from evenhand.grade.look_file import LookFile

FOLDER: Final = "looks"
RECIPE: Final = ".toml"
_SUFFIXES: Final = (RECIPE, ".cube", ".clf", ".cc", ".ccc", ".cdl")


@dataclass(frozen=True, slots=True)
class FoundLook:
    """A look that a person named.

    `look` can be applied; `digest` is the SHA-256 of its content, and `content` what is kept of it.
    `path` is that of a file, None for a look that evenhand brings; `file` tells more of a file that
    is no look document.
    """

    name: str
    look: Look
    digest: str
    content: bytes
    path: Path | None = None
    file: LookFile | None = None
    correction: str | None = None


def find_look(
    name: str, declared: Declared | None = None, correction: str | None = None
) -> FoundLook:
    """The look that evenhand brings under a name, or that is in the file of a path.

    `declared` is what a person says of a file's spaces, `correction` picks one of a collection.
    Raises UsageError for a name that is neither, LookFileError for a file that cannot be read.
    """
    if name in LOOKS:
        _only_files(name, declared, correction)
        recipe = look_named(name)
        return FoundLook(name, recipe, digest(recipe), written(recipe).encode())
    path = Path(name)
    if path.suffix.lower() not in _SUFFIXES and not path.exists():
        look_named(name)  # raises, with the names that there are
    if path.suffix.lower() == RECIPE:
        _only_files(name, declared, correction)
        recipe, content = read_recipe(path)
        return FoundLook(recipe.name, recipe, digest(recipe), content, path)
    content = read_look_bytes(path)
    file = _with_path(path, content, declared, correction)
    name = short_name(path.stem)
    return FoundLook(name, file.look, file.digest, content, path, file, correction)


def read_recipe(path: Path) -> tuple[Recipe, bytes]:
    """A look document and its bytes. Raises LookFileError, or RecipeError with the line or key."""

    def refused(found: str) -> LookFileError:
        return LookFileError(path, found, "Name a look document, or a look of `look list`")

    content = read_small(path, MAX_BYTES, refused)
    try:
        return parse(content.decode("utf-8"), str(path)), content
    except UnicodeDecodeError as error:
        raise LookFileError(path, "this is not UTF-8 text", "A look document is TOML") from error


def keep_look(folder: Path, found: FoundLook) -> LookEntry:
    """Copy a look into the shoot, whole."""
    suffix = RECIPE if found.path is None else found.path.suffix.lower()
    kept = f"{found.name}.{found.digest[:12]}{suffix}"
    target = folder / FOLDER / kept
    if not target.is_file() or target.read_bytes() != found.content:
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise refused(target.parent, error) from error
        write_whole(target, found.content)
    look = found.look
    return LookEntry(
        name=found.name,
        digest=found.digest,
        bytes=hashlib.sha256(found.content).hexdigest(),
        file=kept,
        source=None if found.path is None else kept_path(str(found.path.absolute())),
        space=look.space,
        gives=gives_of(look),
        correction=found.correction,
    )


class ShootLooks:
    """The looks of a shoot, each read once; call it with a use. Safe for the jobs' threads."""

    def __init__(self, folder: Path, shoot: Shoot | None = None) -> None:
        self._folder = folder
        self._entries = {e.digest: e for e in (shoot or store.load(folder)).looks}
        self._read: dict[str, Look] = {}

    def __getstate__(self) -> tuple[Path, dict[str, LookEntry]]:
        """What a child process is handed: it reads the looks itself."""
        return self._folder, self._entries

    def __setstate__(self, state: tuple[Path, dict[str, LookEntry]]) -> None:
        (self._folder, self._entries), self._read = state, {}

    def __call__(self, use: LookUse) -> Look:
        """Raises UsageError for a name that is no look, LookMissingError for a copy that is not
        there or is not what it was.
        """
        entry = self._entries.get(use.digest)
        if entry is None:
            return look_named(use.name)
        if entry.digest not in self._read:
            self._read[entry.digest] = self._kept(entry)
        return self._read[entry.digest]

    def _kept(self, entry: LookEntry) -> Look:
        path = self._folder / FOLDER / entry.file
        again = f"Choose it again: evenhand look use {entry.source or entry.name}"
        if not path.is_file():
            raise LookMissingError(path, f"the shoot's copy of {entry.name} is not there", again)
        content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() != entry.bytes:
            found = f"the shoot's copy of {entry.name} is not what it was"
            raise LookMissingError(path, found, again)
        if path.suffix == RECIPE:
            return parse(content.decode("utf-8"), str(path))
        declared = Declared(entry.space, entry.gives)
        return cast("Look", _with_path(path, content, declared, entry.correction).look)


def look_notices(shoot: Shoot) -> tuple[str, ...]:
    """What a person should know of the looks in use: files that went missing or changed since."""
    used = {clip.look.digest for clip in shoot.clips if clip.look is not None}
    entries = [entry for entry in shoot.looks if entry.digest in used]
    notices = [
        _shipped_notice(e) if e.source is None else _file_notice(e, e.source) for e in entries
    ]
    return tuple(said for said in notices if said)


def _shipped_notice(entry: LookEntry) -> str:
    if entry.name in LOOKS and digest(LOOKS[entry.name]) == entry.digest:
        return ""
    return (
        f"{entry.name}: this evenhand brings another look of that name than the one chosen here, "
        f"which goes on being used. To take the new one: evenhand look use {entry.name}"
    )


def _file_notice(entry: LookEntry, source: str) -> str:
    try:
        found = _digest_of(Path(real_path(source)))
    except OSError:
        return f"{entry.name}: {source} is not there any more; the shoot's own copy is used"
    if found == entry.bytes:
        return ""
    return (
        f"{entry.name}: {source} has changed since it was chosen; the look as it was then is used. "
        f"To take the new one: evenhand look use {source}"
    )


def _digest_of(path: Path) -> str:
    """SHA-256 of a file, a piece at a time; empty for what is no regular file."""
    if path.exists() and not path.is_file():
        return ""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _only_files(name: str, declared: Declared | None, correction: str | None) -> None:
    if declared is not None or correction is not None:
        found = "a look document says itself what it is made for"
        raise UsageError(name, found, "Leave out --space, --gives and --correction")


def _with_path(
    path: Path, content: bytes, declared: Declared | None, correction: str | None
) -> LookFile:
    """`read_look`, with the whole path in what is said of an error."""
    from evenhand.grade.look_file import read_look

    try:
        return read_look(content, short_name(path.stem), declared, correction)
    except LookFileError as error:
        raise LookFileError(path, error.found, error.remedy) from None
