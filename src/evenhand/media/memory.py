"""Keeping the process small while pictures come and go."""

from __future__ import annotations

import ctypes
import sys
from functools import cache
from typing import Final

# mallopt(3) of the GNU C library: blocks of this size are mapped, and given back when freed.
_MMAP_THRESHOLD: Final = -3
_LARGE: Final = 1 << 20


@cache
def give_back_large_blocks() -> None:
    """Have freed pictures returned to the system at once.

    The GNU C library learns from the first large blocks to keep later ones of their size in its
    heaps, where those of many threads pile up: a UHD master then holds a gigabyte that nobody uses
    while it is read again. Elsewhere this does nothing.
    """
    if not sys.platform.startswith("linux"):
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_MMAP_THRESHOLD, _LARGE)
