"""Files that are whole or absent: written under a temporary name, synced, then renamed.

A reader never sees half a file, and a full disk or a pulled drive leaves what was there before.
"""

from __future__ import annotations

import errno
import hashlib
import itertools
import os
import platform
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from evenhand.errors import TargetError

# A process number means nothing on another machine, and a drive may be shared by several.
_HOST: Final = hashlib.sha256(platform.node().encode()).hexdigest()[:6]
_CALLS: Final = itertools.count()
# Seconds after which a temporary file is nobody's, where its process cannot be asked.
_LONG: Final = 7 * 24 * 3600.0


def partial_name(target: Path) -> Path:
    """A temporary name beside `target`, another at each call of any process on any machine.

    In the same folder, so on the same file system, so that renaming works.
    """
    return target.with_name(f".{target.name}.{_HOST}-{os.getpid()}-{next(_CALLS)}.part")


def clear_leftovers(target: Path) -> None:
    """Remove the temporary files of `target` whose processes are gone; what is in use stays."""
    pattern = re.compile(
        rf"\.{re.escape(target.name)}\.(?P<host>[0-9a-f]{{6}})-(?P<pid>[0-9]{{1,10}})-[0-9]+\.part"
    )
    with suppress(OSError):  # a folder that cannot be read is told of by whoever writes to it
        for path in list(target.parent.iterdir()):
            found = pattern.fullmatch(path.name)
            if found is not None and _abandoned(path, found["host"], int(found["pid"])):
                with suppress(OSError):
                    path.unlink()


def _abandoned(partial: Path, host: str, process: int) -> bool:
    """Whether nobody writes to a temporary file any more."""
    if host == _HOST and os.name == "posix":
        return not _runs(process)
    try:
        return time.time() - partial.stat().st_mtime > _LONG
    except OSError:
        return False


def _runs(process: int) -> bool:
    """Whether a process of this machine is there, whoever it belongs to."""
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def sync(path: Path) -> None:
    """Ask the system to put a file or folder on the disk; late write errors show here."""
    if path.is_dir():
        _sync_folder(path)
        return
    with path.open("r+b") as file:  # some systems sync only files that are open for writing
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    """Make a rename itself last, where the system can sync a folder."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # network drives may not know it
            raise
    finally:
        os.close(handle)


def settle(partial: Path, target: Path) -> None:
    """Sync the finished partial file, give it its final name, and sync the folder."""
    sync(partial)
    partial.replace(target)
    sync(target.parent)


@contextmanager
def whole_file(target: Path) -> Iterator[Path]:
    """Yield a temporary path to write to; on success it becomes `target`, else nothing is left.

    Raises TargetError, in plain words, for what the disk refuses.
    """
    clear_leftovers(target)
    partial = partial_name(target)
    try:
        yield partial
        settle(partial, target)
    except BaseException as error:
        # The error that brought us here matters more than one in cleaning up.
        with suppress(OSError):
            partial.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise refused(target, error) from error
        raise


def write_whole(target: Path, content: bytes) -> None:
    """Write `content` to `target`, whole or not at all."""
    with whole_file(target) as partial:
        partial.write_bytes(content)


def refused(target: Path, error: OSError) -> TargetError:
    """What the system said, in words that tell what to do."""
    say = {
        errno.ENOSPC: ("no space left on its disk", "Make room or name another folder"),
        errno.EDQUOT: ("the disk quota is used up", "Make room or name another folder"),
        errno.EFBIG: (
            "the disk does not take a file of this size",
            "Name a folder on another disk",
        ),
        errno.EROFS: ("its disk is read-only", "Name a folder that can be written to"),
        errno.EACCES: ("its folder may not be written to", "Name a folder that can be written to"),
        errno.EPERM: ("its folder may not be written to", "Name a folder that can be written to"),
        errno.ENOENT: ("its folder does not exist", "Make the folder first, or name another"),
        errno.ENOTDIR: ("its folder is a file", "Name a folder"),
    }
    found, remedy = say.get(
        error.errno or 0,
        (f"the disk refused it ({error.strerror or error})", "Check the disk and try again"),
    )
    return TargetError(target, found, remedy)
