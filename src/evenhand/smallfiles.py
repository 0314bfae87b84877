"""Reading a file that a person named: a pipe is never waited for, nothing large is taken in."""

from __future__ import annotations

import stat
from collections.abc import Callable
from pathlib import Path
from typing import Final

from evenhand.errors import EvenhandError

_HEAD: Final = 64  # bytes


def read_small(
    path: Path,
    largest: int,
    refused: Callable[[str], EvenhandError],
    wrong: Callable[[bytes], str] = lambda _head: "",
) -> bytes:
    """The bytes of a regular file of at most `largest` bytes.

    `wrong` tells from the first 64 of them what is wrong, if anything, before the rest is read.
    Raises what `refused` makes of the words for what was found instead.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # a pipe would make opening wait, a device never end
            what = "a folder" if stat.S_ISDIR(status.st_mode) else "a device or a pipe"
            raise refused(f"this is {what}, not a regular file")
        if status.st_size > largest:
            raise refused(f"it has {status.st_size} bytes, more than {largest}")
        with path.open("rb") as file:
            head = file.read(_HEAD)
            found = wrong(head)
            if found:
                raise refused(found)
            return head + file.read(largest)
    except OSError as error:
        raise refused(f"it cannot be read ({error.strerror or error})") from error
