"""How the picture loops are compiled, and when what was compiled is thrown away.

Numba keeps compiled loops beside the modules and looks only at the module that holds the loop, not
at the modules whose functions it calls. So the whole package's text is summed here once, and a
change anywhere in it empties the store.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit

Function = TypeVar("Function", bound=Callable[..., Any])
_OPTIONS: dict[str, Any] = {"fastmath": True, "nogil": True, "error_model": "numpy"}


def _forget_stale(folder: Path) -> None:
    """Delete compiled loops in `folder` that belong to another state of its modules."""
    digest = hashlib.blake2b(digest_size=16)
    for module in sorted((*folder.glob("*.py"), *folder.glob("*.json"))):
        digest.update(module.read_bytes())
    store = folder / "__pycache__"
    stamp = store / "loops.digest"
    try:
        if stamp.exists() and stamp.read_text() == digest.hexdigest():
            return
        store.mkdir(exist_ok=True)
        for compiled in (*store.glob("*.nbi"), *store.glob("*.nbc")):
            compiled.unlink(missing_ok=True)
        stamp.write_text(digest.hexdigest())
    except OSError:
        return  # the folder cannot be written: then Numba keeps nothing in it either


_forget_stale(Path(__file__).parent)


def inner(function: Function) -> Function:
    """Compile a function that is only called from other compiled functions."""
    return cast(Function, njit(**_OPTIONS)(function))


def loop(function: Function) -> Function:
    """Compile a function that Python calls, and keep it for the next run."""
    return cast(Function, njit(cache=True, **_OPTIONS)(function))
