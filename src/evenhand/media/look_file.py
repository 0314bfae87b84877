"""Reading a look file from disk: judged by its first bytes before the rest is read."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Final

from evenhand.luts.errors import LookFileError
from evenhand.luts.kinds import HEAD_BYTES, kind_of

_REMEDY: Final = "Give a .cube, CLF or ASC CDL file"


def read_look_bytes(path: Path) -> bytes:
    """The bytes of a look file.

    LookFileError for what is no file, cannot be read, or is refused by its size and its first
    64 KiB: no more of it is read then, whatever its size.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # a pipe would make opening wait
            raise LookFileError(path, "this is not a regular file", _REMEDY)
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            kind_of(head, status.st_size, path.name)
            return head + file.read(status.st_size - len(head))
    except LookFileError as error:
        raise LookFileError(path, error.found, error.remedy) from None
    except OSError as error:
        found = f"it cannot be read: {error.strerror or error}"
        raise LookFileError(path, found, _REMEDY) from error
