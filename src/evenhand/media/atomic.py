"""Whole-or-absent writing: a file is under its final name only when it is complete and on the disk.

The work goes into `.<name>.part` in the target folder, because a rename is atomic only inside one
file system. The order is: write, close, fsync, (verify), rename, fsync of the folder.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from evenhand.errors import TargetError

_NO_ROOM = "there is no room left on the drive"
_READ_ONLY = "this place cannot be written to"
_PLAIN_WORDS = {
    errno.ENOSPC: (_NO_ROOM, "Free some space or choose another drive, then start again"),
    errno.EDQUOT: (_NO_ROOM, "Free some space or choose another drive, then start again"),
    errno.EFBIG: (
        "the file grew larger than this drive or account allows",
        "Choose a drive whose file system takes large files",
    ),
    errno.EROFS: (_READ_ONLY, "Choose a folder on a drive that is not locked"),
    errno.EACCES: (_READ_ONLY, "Choose a folder that belongs to you"),
    errno.EPERM: (_READ_ONLY, "Choose a folder that belongs to you"),
    errno.ENOENT: ("its folder does not exist", "Make the folder, or connect its drive"),
    errno.ENOTDIR: ("its folder is a file", "Choose a folder"),
    errno.EISDIR: ("a folder of this name is there already", "Choose another name"),
    errno.ENAMETOOLONG: ("the name is too long for this drive", "Choose a shorter name"),
    errno.EIO: (
        "the drive failed or was pulled out",
        "Check its cable and health, then start again",
    ),
    errno.ENODEV: ("the drive is gone", "Connect it again, then start again"),
    errno.ENXIO: ("the drive is gone", "Connect it again, then start again"),
}


def target_error(target: Path, error: OSError) -> TargetError:
    """Say in plain words why `target` could not be written."""
    said = error.strerror or str(error)
    found, remedy = _PLAIN_WORDS.get(
        error.errno or 0, (f"it could not be written ({said})", "Choose another place")
    )
    return TargetError(target, found, remedy)


def part_name(target: Path) -> Path:
    """Return where the work for `target` goes until it is whole."""
    return target.with_name(f".{target.name}.part")


def check_target(target: Path, *, overwrite: bool = False, needs: int = 0) -> None:
    """Refuse a target early, before any work is done for it.

    `needs` is the room wanted in bytes. Raises TargetError for a folder that is missing, is no
    folder or cannot be written to, for a file that exists (unless `overwrite`), and for too little
    room.
    """
    folder = target.parent
    if not folder.exists():
        raise target_error(target, OSError(errno.ENOENT, ""))
    if not folder.is_dir():
        raise target_error(target, OSError(errno.ENOTDIR, ""))
    if target.is_dir():
        raise target_error(target, OSError(errno.EISDIR, ""))
    if not overwrite and os.path.lexists(target):
        raise TargetError(
            target, "a file of this name is there already", "Move it away or choose another name"
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise target_error(target, OSError(errno.EACCES, ""))
    free = shutil.disk_usage(folder).free
    if free < needs:
        raise TargetError(
            target,
            f"about {_size(needs)} are needed and {_size(free)} are free",
            "Free some space or choose another drive, then start again",
        )


@contextmanager
def whole_file(
    target: Path,
    *,
    overwrite: bool = False,
    needs: int = 0,
    verify: Callable[[Path], None] | None = None,
) -> Iterator[Path]:
    """Yield the path to write to; when the block ends well it becomes `target`, else it is removed.

    The block must create and close the file at the path yielded. `verify` is called with that path
    after the fsync and before the rename; what it raises stops the rename. `needs` as in
    `check_target`. Raises TargetError for every failure of the drive; other exceptions of the
    block, KeyboardInterrupt among them, pass through after the partial file is gone.
    """
    check_target(target, overwrite=overwrite, needs=needs)
    part = part_name(target)
    try:
        _remove(part)  # left by a run that was killed
        yield part
        _sync(part)
        if verify is not None:
            verify(part)
        check_target(target, overwrite=overwrite)
        os.replace(part, target)  # noqa: PTH105 - Path.replace is the same call
    except BaseException as error:
        _remove(part, quietly=True)
        if isinstance(error, OSError):
            raise target_error(target, error) from error
        raise
    _sync_folder(target.parent)


def write_whole(target: Path, data: bytes, *, overwrite: bool = False) -> None:
    """Write `data` as `target`, whole or not at all. Errors as in `whole_file`."""
    with whole_file(target, overwrite=overwrite, needs=len(data)) as part:
        part.write_bytes(data)


def _sync(path: Path) -> None:
    """Force the file to the disk; late write errors of network drives show here."""
    with path.open("r+b") as file:  # Windows syncs only files that are open for writing
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    """Make the rename itself last, where the system can sync a folder."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise target_error(folder, error) from error
    finally:
        os.close(descriptor)


def _remove(path: Path, *, quietly: bool = False) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        if not quietly:  # the error that brought us here matters more
            raise


def _size(count: int) -> str:
    for unit, factor in (("TB", 10**12), ("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= factor:
            return f"{count / factor:.1f} {unit}"
    return f"{count} bytes"
