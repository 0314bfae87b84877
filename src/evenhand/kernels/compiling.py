"""How the kernels are compiled, and where the compiled code is kept."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba
from numba.core.caching import FunctionCache

OPTIONS: dict[str, Any] = {
    "fastmath": True,
    "nogil": True,
    "error_model": "numpy",
    "boundscheck": False,
    "_nrt": False,
}
"""`fastmath` lets LLVM vectorise minima and sums: no kernel may be given NaN or infinities."""


@cache
def _sources_stamp() -> tuple[tuple[str, int, int], ...]:
    """Name, size and time of every source of this package.

    Numba looks at the file of the function alone, yet the compiled code holds what it calls too.
    """
    files = sorted(Path(__file__).parent.glob("*.py"))
    return tuple((f.name, s.st_size, s.st_mtime_ns) for f in files for s in [f.stat()])


class BestEffortCache(FunctionCache):
    """Numba's cache on disk, which never stops the work when it cannot be written."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        index = self._cache_file
        index._source_stamp = (index._source_stamp, _sources_stamp())

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep compiled code for the next start; a full or read-only disk only costs that start."""
        try:
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]
        except OSError:
            self.disable()  # type: ignore[no-untyped-call]


def kernel(function: Callable[..., Any]) -> Any:
    """Compile a function without Python objects, outside the GIL, and keep the code on disk.

    The code is kept in NUMBA_CACHE_DIR where that is set, else beside the source, else in the
    person's cache folder; where none of them can be written it is compiled again at every start.
    """
    return _compiled(function, OPTIONS)


def exact_kernel(function: Callable[..., Any]) -> Any:
    """The same, with every operation rounded as IEEE 754 says: for parsing, not for pictures."""
    return _compiled(function, OPTIONS | {"fastmath": False})


def _compiled(function: Callable[..., Any], options: dict[str, Any]) -> Any:
    dispatcher = numba.njit(**options)(function)
    try:
        dispatcher._cache = BestEffortCache(function)
    except RuntimeError:  # no folder can be written: "no locator available"
        return dispatcher
    return dispatcher
