"""The history of a shoot: each decision with its time, origin, before and after; undo and redo.

One line of JSON a change in `history.jsonl`, which grows by what changed. It is written before the
document is: what stands there of a later revision than the document's never came to be, and goes.
What is done and what is undone follows from the lines alone.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import msgspec

HISTORY: Final = "history.jsonl"
# Lists of the document whose members are known by one of their values.
KEYS: Final = {"clips": "id", "places": "name", "grey_cards": "clip", "looks": "digest"}
# What scanning sees and where things lie is no decision, and is neither told nor undone.
_SEEN: Final = {"format", "version", "revision", "name", "cards", "master_folders"}
_SEEN_OF_CLIP: Final = {"id", "card", "path", "bytes", "fingerprint", "state", "trouble"}
# Decided as one: its parts mean nothing by themselves.
_WHOLE: Final = {"encoding", "white", "look", "steadying", "cdl", "levelled"}
_TAIL: Final = 1 << 16  # bytes at the end of the file in which its last line mostly lies
_LONGEST: Final = 1 << 26  # bytes of a line
Builtins = dict[str, Any]


def _token() -> str:
    return f"{time.time_ns():x}-{os.getpid():x}"


class Origin(msgspec.Struct, frozen=True, omit_defaults=True):
    """Who changes the document: a verb or a screen. One `command` is one step of undo and redo."""

    verb: str
    screen: str = ""
    command: str = msgspec.field(default_factory=_token)


class Edit(msgspec.Struct, frozen=True, omit_defaults=True):
    """One value that became another; None where there is none, which means its default."""

    at: tuple[str, ...]
    before: Any = None
    after: Any = None

    def inverse(self) -> Edit:
        """The edit that takes this one back."""
        return Edit(self.at, self.after, self.before)


class Change(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One line of the history. `time` is UTC; `undoes` and `redoes` are revisions."""

    revision: int
    time: str
    by: Origin
    edits: tuple[Edit, ...]
    undoes: tuple[int, ...] = ()
    redoes: tuple[int, ...] = ()


class Step(msgspec.Struct, frozen=True):
    """What one command changed, which undo takes back as one; a command may change twice."""

    command: str
    changes: tuple[Change, ...]

    @property
    def revisions(self) -> tuple[int, ...]:
        return tuple(change.revision for change in self.changes)

    def inverse(self) -> tuple[Edit, ...]:
        """The edits that take the step back, in their order."""
        return tuple(e.inverse() for c in reversed(self.changes) for e in reversed(c.edits))

    def forward(self) -> tuple[Edit, ...]:
        """The edits that do the step again."""
        return tuple(edit for change in self.changes for edit in change.edits)


def difference(before: Builtins, after: Builtins) -> tuple[Edit, ...]:
    """The decisions in which two documents differ."""
    return tuple(_differ(_by_key(before), _by_key(after), ()))


def applied(document: Builtins, edits: Sequence[Edit]) -> Builtins:
    """A document after edits. Raises ValueError, with the place, where it holds something else."""
    keyed = _by_key(document)
    for edit in edits:
        _apply(keyed, edit)
    return _listed(keyed, document)


def read(folder: Path, revision: int) -> tuple[Change, ...]:
    """The history up to a revision, the oldest first; lines that cannot be read are left out."""
    return tuple(change for change, _ in _lines(folder / HISTORY) if change.revision <= revision)


def append(folder: Path, change: Change) -> None:
    """Add a change, whole; what a run that was killed left behind it goes first."""
    path = folder / HISTORY
    end = _sound_end(path, change.revision)
    line = msgspec.json.encode(change) + b"\n"
    with path.open("r+b" if path.exists() else "w+b") as file:
        if path.stat().st_size != end:
            file.truncate(end)
        file.seek(end)
        file.write(line)
        file.flush()
        os.fsync(file.fileno())


def steps(changes: Sequence[Change]) -> tuple[list[Step], list[Step]]:
    """Steps that are done, and those that were undone and can be done again, the latest last."""
    done: list[Step] = []
    undone: list[Step] = []
    for change in changes:
        if change.undoes:
            _move(change.undoes, done, undone)
        elif change.redoes:
            _move(change.redoes, undone, done)
        else:
            undone.clear()
            mine = next((s for s in done if s.command == change.by.command), None)
            if mine is None:
                done.append(Step(change.by.command, (change,)))
            else:
                done[done.index(mine)] = Step(mine.command, (*mine.changes, change))
    return done, undone


def _sound_end(path: Path, revision: int) -> int:
    """The byte at which what was written before a revision ends: nearly always the file's."""
    if not path.exists():
        return 0
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _TAIL))
        lines = file.read(_TAIL).splitlines(keepends=True)
    last = _change(lines[-1]) if lines else None
    if last is not None and last.revision < revision:
        return size
    end = 0
    for known, after in _lines(path):
        if known.revision >= revision:
            break
        end = after
    return end


def _move(revisions: tuple[int, ...], from_: list[Step], to: list[Step]) -> None:
    for step in [s for s in reversed(from_) if set(s.revisions) <= set(revisions)]:
        from_.remove(step)
        to.append(step)


def _lines(path: Path) -> Iterator[tuple[Change, int]]:
    """Each change with the byte at which its line ends."""
    try:
        file = path.open("rb")
    except FileNotFoundError:
        return
    with file:
        end = 0
        while line := file.readline(_LONGEST):
            end += len(line)
            found = _change(line)
            if found is not None:
                yield found, end


def _change(line: bytes) -> Change | None:
    """A line as a change; None for one that is cut short, by a run that was killed, or damaged."""
    if not line.endswith(b"\n"):
        return None
    try:
        return msgspec.json.decode(line, type=Change)
    except (msgspec.MsgspecError, RecursionError):
        return None


def _by_key(document: Builtins) -> Builtins:
    """The decisions of a document, lists of records by what each is known by."""
    keyed: Builtins = {k: v for k, v in document.items() if k not in _SEEN}
    for name, key in KEYS.items():
        records = {}
        for record in document.get(name, ()):
            gone = _SEEN_OF_CLIP if name == "clips" else {key}
            records[record[key]] = {k: v for k, v in record.items() if k not in gone}
        keyed[name] = records
    return keyed


def _listed(keyed: Builtins, document: Builtins) -> Builtins:
    """The document with these decisions in it; records keep their order, new ones come last."""
    new = {k: v for k, v in document.items() if k in _SEEN} | {
        k: v for k, v in keyed.items() if k not in KEYS
    }
    for name, key in KEYS.items():
        old = {record[key]: record for record in document.get(name, ())}
        if name == "clips":  # clips are never taken away: scanning alone adds them
            seen = {i: {k: v for k, v in r.items() if k in _SEEN_OF_CLIP} for i, r in old.items()}
            new[name] = [seen[i] | keyed[name].get(i, {}) for i in old]
        else:
            order = [*(i for i in old if i in keyed[name])]
            order += [i for i in keyed[name] if i not in old]
            new[name] = [{key: i} | keyed[name][i] for i in order]
    return new


def _differ(before: Builtins, after: Builtins, at: tuple[str, ...]) -> Iterator[Edit]:
    for name in dict.fromkeys((*before, *after)):
        old, new = before.get(name), after.get(name)
        here = (*at, name)
        if old == new:
            continue
        a_record = len(here) == 2 and here[0] in KEYS and here[0] != "clips"
        whole = name in _WHOLE or (a_record and (old is None or new is None))
        if not whole and all(value is None or isinstance(value, dict) for value in (old, new)):
            yield from _differ(old or {}, new or {}, here)
        else:
            yield Edit(here, old, new)


def _apply(keyed: Builtins, edit: Edit) -> None:
    inside = keyed
    for name in edit.at[:-1]:
        inside = inside.setdefault(name, {})
        if not isinstance(inside, dict):
            raise ValueError(" ".join(edit.at))
    last = edit.at[-1]
    if inside.get(last) != edit.before and inside.get(last) != edit.after:
        raise ValueError(" ".join(edit.at))
    if edit.after is None:
        inside.pop(last, None)
    else:
        inside[last] = edit.after
