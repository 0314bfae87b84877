"""Reading and changing a shoot's document: one change at a time, whole files, clear errors.

Every change is a transaction: lock, load, change, one line of history, save, revision + 1. Reading
needs no lock, since a document is replaced whole.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any, Final, get_args

import filelock
import msgspec

from evenhand.atomic import refused, write_whole
from evenhand.errors import ShootError
from evenhand.shoot import history
from evenhand.shoot.checked import faults
from evenhand.shoot.document import FORMAT, VERSION, Shoot
from evenhand.shoot.history import Change, Edit, Origin
from evenhand.shoot.migrations import migrated
from evenhand.smallfiles import read_small

DOCUMENT: Final = "shoot.json"
LOCK: Final = "shoot.lock"
_PATIENCE: Final = 60.0  # seconds; a change takes some hundredths of one
_LARGEST: Final = 256 << 20  # bytes; 400 clips take half a megabyte
_COPY: Final = "Restore it from a copy, or scan again"
Document = dict[str, Any]


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
    return _read(folder / DOCUMENT)[1]


def change(
    folder: Path,
    by: Origin,
    edit: Callable[[Shoot], Shoot],
    start: Shoot | None = None,
    noted: Callable[[], dict[str, Sequence[int]]] = dict,
) -> Shoot:
    """Change the document in one transaction; what `edit` returns is saved, if it differs.

    `start` is the shoot to begin with where there is none yet, `noted` what the line of history
    holds beside (the revisions that the change undoes or redoes). Keys that this evenhand does not
    know are kept. Raises ShootError as `load` does, and where the document stays locked; whatever
    `edit` raises passes, and nothing is changed.
    """
    path = folder / DOCUMENT
    with _held(folder):
        if start is not None and not path.exists():
            raw: Document = {}
            before = start
        else:
            raw, before = _read(path)
        after = edit(before)
        if after == before and path.exists():
            return before
        after = msgspec.structs.replace(after, revision=before.revision + 1)
        edits = history.difference(_builtins(before), _builtins(after))
        document = _kept_unknown(raw, _builtins(after), Shoot)
        content = msgspec.json.encode(document)
        _checked(path, msgspec.json.decode(content, type=Shoot))  # never save what cannot be read
        if edits:
            line = Change(revision=after.revision, time=_now(), by=by, edits=edits)
            _note(folder, msgspec.structs.replace(line, **noted()))
        write_whole(path, msgspec.json.format(content, indent=2) + b"\n")
        return after


def _note(folder: Path, line: Change) -> None:
    try:
        history.append(folder, line)
    except OSError as error:
        raise refused(folder / history.HISTORY, error) from error


def _now() -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())


def edits_of(folder: Path, revision: int) -> tuple[Edit, ...]:
    """What a revision changed."""
    changes = history.read(folder, revision)
    return next((c.edits for c in reversed(changes) if c.revision == revision), ())


def edited(shoot: Shoot, edits: Sequence[Edit]) -> Shoot:
    """The shoot after edits of the history. Raises ValueError where it holds something else."""
    return msgspec.convert(history.applied(_builtins(shoot), edits), Shoot)


def _read(path: Path) -> tuple[Document, Shoot]:
    """The document as it stands in the file, of today's version, and what it means."""
    try:
        content = read_small(path, _LARGEST, lambda found: ShootError(path, found, _COPY), _no_json)
        raw = msgspec.json.decode(content)
        if not isinstance(raw, dict) or raw.get("format") != FORMAT:
            raise ShootError(path, "this is not a shoot document", "Name the folder of a shoot")
        version = raw.get("version")
        if not isinstance(version, int) or version < 1:
            raise ShootError(
                path,
                f"its version is {str(version)[:40]!r}, a whole number was expected",
                "Restore it from a copy",
            )
        if version > VERSION:
            raise ShootError(
                path,
                f"a newer evenhand wrote it (version {version}, this one reads up to {VERSION})",
                "Install the newer evenhand",
            )
        raw = migrated(raw, version, VERSION)
        shoot = msgspec.convert(raw, Shoot)
    except RecursionError as error:
        raise ShootError(path, "the document is damaged (it is nested too deep)", _COPY) from error
    except msgspec.MsgspecError as error:
        raise ShootError(path, f"the document is damaged ({_short(error)})", _COPY) from error
    except (AttributeError, KeyError, TypeError, ValueError) as error:  # of an older version
        raise ShootError(path, "the document is damaged (it is not of its version)", _COPY) from (
            error
        )
    _checked(path, shoot)
    return raw, shoot


def _no_json(head: bytes) -> str:
    """What is wrong with a document by its first bytes, before the rest is read."""
    begins = head.lstrip()[:1] in (b"{", b"[", b"")
    return "" if begins else "the document is damaged (it does not begin as JSON does)"


def _checked(path: Path, shoot: Shoot) -> None:
    found = list(islice(faults(shoot), 4))
    if found:
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        raise ShootError(path, f"the document makes no sense: {found[0]}{more}", _COPY)


def _short(error: Exception) -> str:
    text = " ".join(str(error).split())
    return text if len(text) <= 200 else text[:200] + "…"


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """The right to change the document, one holder at a time."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock: filelock.BaseFileLock = filelock.FileLock(folder / LOCK, timeout=_PATIENCE)
        try:
            lock.acquire()
        except NotImplementedError:  # some network drives have no locks but a file's existence
            lock = filelock.SoftFileLock(folder / f"{LOCK}.held", timeout=_PATIENCE)
            lock.acquire()
    except filelock.Timeout as error:
        raise ShootError(
            folder,
            f"another evenhand has held its document for {_PATIENCE:.0f} s",
            "Stop that one, or try again",
        ) from error
    except OSError as error:
        raise refused(folder, error) from error
    try:
        yield
    finally:
        lock.release()


def _builtins(shoot: Shoot) -> Document:
    built: Document = _without_empty(msgspec.json.decode(msgspec.json.encode(shoot)))
    return built


def _without_empty(value: Any) -> Any:
    """Without records that hold defaults alone."""
    if isinstance(value, list):
        return [_without_empty(part) for part in value]
    if not isinstance(value, dict):
        return value
    return {n: kept for n, v in value.items() if (kept := _without_empty(v)) != {}}


def _kept_unknown(raw: Any, new: Any, kind: Any) -> Any:
    """`new` with the keys of `raw` that its records have no field for, at every level."""
    struct = _struct_in(kind)
    if struct is None:
        return new
    if isinstance(raw, list) and isinstance(new, list):
        return _kept_in_list(raw, new, struct)
    if not (isinstance(raw, dict) and isinstance(new, dict)):
        return new
    fields = {field.encode_name: field.type for field in msgspec.structs.fields(struct)}
    known = {n: _kept_unknown(raw.get(n), v, fields.get(n)) for n, v in new.items()}
    return known | {name: value for name, value in raw.items() if name not in fields}


def _kept_in_list(raw: list[Any], new: list[Any], struct: type[msgspec.Struct]) -> list[Any]:
    """Records of a list, each with the unknown keys of the one that it was."""
    names = [field.name for field in msgspec.structs.fields(struct)]
    key = next((k for k in history.KEYS.values() if k in names), names[0])
    before = {r.get(key): r for r in raw if isinstance(r, dict) and isinstance(r.get(key), str)}
    return [_kept_unknown(before.get(record[key]), record, struct) for record in new]


def _struct_in(kind: Any) -> type[msgspec.Struct] | None:
    """The record that a field's type is about: itself, one of a union, or that of a tuple."""
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return kind
    return next((found for part in get_args(kind) if (found := _struct_in(part))), None)
