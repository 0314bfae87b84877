"""Whether a place can take a file, asked before any work is done for it."""

from __future__ import annotations

import errno
import os
import shutil
import sys
from pathlib import Path

from evenhand.atomic import refused
from evenhand.errors import NameTakenError, TargetError


def check_target(target: Path, *, overwrite: bool = False, needs: int = 0) -> None:
    """Refuse a target that cannot take a file of `needs` bytes.

    Raises TargetError for a folder that is missing, is no folder or cannot be written to, for a
    file that is there already (unless `overwrite`), and for too little room.
    """
    folder = target.parent
    if not folder.exists():
        raise refused(target, OSError(errno.ENOENT, ""))
    if not folder.is_dir():
        raise refused(target, OSError(errno.ENOTDIR, ""))
    if target.is_dir():
        raise NameTakenError(
            target, "a folder of this name is there already", "Choose another name"
        )
    if not overwrite and os.path.lexists(target):
        raise NameTakenError(
            target,
            "a file of this name is there already",
            "Choose another name, or replace it with --overwrite",
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise refused(target, OSError(errno.EROFS if _locked(folder) else errno.EACCES, ""))
    free = shutil.disk_usage(folder).free
    if free < needs:
        raise TargetError(
            target,
            f"about {_size(needs)} are needed and {_size(free)} are free",
            "Make room or name another folder",
        )


def made_folder(folder: Path) -> Path:
    """The folder itself, made where it is missing. TargetError where it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise TargetError(folder, "a file of this name is there", "Name a folder") from error
    except OSError as error:
        raise refused(folder, error) from error
    return folder


def _locked(folder: Path) -> bool:
    """Whether the folder's whole drive is read-only, where the system can say so."""
    if sys.platform == "win32":
        return False
    return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)


def _size(count: int) -> str:
    for unit, factor in (("TB", 10**12), ("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= factor:
            return f"{count / factor:.1f} {unit}"
    return f"{count} bytes"
