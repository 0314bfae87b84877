"""One maker of a file at a time: the right to make it is a lock beside it, which says who has it.

The system itself holds the lock and lets go of it when its process dies, in whatever way. What the
lock file says is for people; nothing is decided by it.
"""

from __future__ import annotations

import errno
import os
import platform
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import filelock
import msgspec

from evenhand.atomic import refused
from evenhand.reasons import Reason, because

Waiting = Callable[[Reason], None]

_POLL: Final = 0.2  # seconds
_LONGEST: Final = 4096  # bytes of a lock file that are looked at
_NO_LOCKS: Final = (errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP)


class Holder(msgspec.Struct, frozen=True):
    """Who makes a file: process and machine, what it is (clip and spec), and since when."""

    process: int
    host: str
    clip: str
    spec: str
    since: datetime


@contextmanager
def claimed(
    target: Path, clip: str, spec: str, waiting: Waiting = lambda _why: None
) -> Iterator[None]:
    """Hold the sole right to make `target`, the master of a clip by a spec.

    Where another process has it, wait until it is done or dead; `waiting` is told who it is, and
    again where the holder changes. Ctrl-c ends the wait. Raises TargetError where the place takes
    no lock file.
    """
    place = lock_name(target)
    try:
        target.parent.stat()  # or the lock would make the folder
        lock = _acquired(place, target, waiting)
    except OSError as error:
        raise refused(target, error) from error
    try:
        _sign(place, Holder(os.getpid(), platform.node(), clip, spec, datetime.now(UTC)))
        yield
    finally:
        # While it is still held: whoever waits for this very file sees that it has no name any
        # more, and makes another. Where files in use cannot be removed, releasing does it.
        if os.name == "posix":
            with suppress(OSError):
                place.unlink()
        lock.release()


def lock_name(target: Path) -> Path:
    """The lock file of a target: beside it, hidden."""
    return target.with_name(f".{target.name}.lock")


def _acquired(place: Path, target: Path, waiting: Waiting) -> filelock.BaseFileLock:
    lock: filelock.BaseFileLock = filelock.FileLock(place, fallback_to_soft=False)
    told: Holder | None = None
    tries = 0
    while True:
        try:
            lock.acquire(blocking=False)
            return lock
        except filelock.Timeout:
            pass
        except OSError as error:
            if error.errno not in _NO_LOCKS or isinstance(lock, filelock.SoftFileLock):
                raise
            # Some network drives know no locks, only whether a file is there.
            lock = filelock.SoftFileLock(f"{place}.held")
            continue
        tries += 1
        holder = _holder(place)
        # The first time the holder may not have signed yet.
        if tries == 2 or (tries > 2 and holder not in (None, told)):
            waiting(_why(target, holder))
            told = holder
        time.sleep(_POLL)


def _sign(place: Path, holder: Holder) -> None:
    with suppress(OSError):  # a lock that says nothing locks as well
        place.write_bytes(msgspec.json.encode(holder))


def _holder(place: Path) -> Holder | None:
    try:
        with place.open("rb") as file:
            return msgspec.json.decode(file.read(_LONGEST), type=Holder)
    except (OSError, msgspec.MsgspecError, RecursionError):
        return None


def _why(target: Path, holder: Holder | None) -> Reason:
    if holder is None:
        return because("master.held", file=target.name)
    return because(
        "master.held",
        file=target.name,
        process=holder.process,
        host="" if holder.host == platform.node() else holder.host,
        clip=holder.clip,
        spec=holder.spec,
        since=holder.since.isoformat(timespec="seconds"),
    )
