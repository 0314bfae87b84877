"""Compiled code is kept on disk where it can be, and never stops the work where it cannot."""

from __future__ import annotations

import importlib.util
import itertools

import numba
import pytest
from numba.core.caching import FunctionCache

from evenhand.kernels import compiling

SOURCE = """
from evenhand.kernels.compiling import kernel

@kernel
def twice(x):
    return x + x
"""
_number = itertools.count()


@pytest.fixture
def twice(tmp_path, monkeypatch):
    """Imports the same source file anew at each call, with its cache in a folder of its own."""
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "cache"))
    path = tmp_path / "one_kernel.py"
    path.write_text(SOURCE)

    def load():
        spec = importlib.util.spec_from_file_location("one_kernel", path)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module.twice

    return load


def hits(kernel):
    """How many of its signatures came from disk."""
    return sum(kernel.stats.cache_hits.values())


def test_the_next_start_finds_the_compiled_code(twice):
    """The first start compiles, the second reads."""
    first, second = twice(), None
    assert (first(21), hits(first)) == (42, 0)
    second = twice()
    assert (second(21), hits(second)) == (42, 1)


def test_a_change_in_any_kernel_source_compiles_anew(twice, monkeypatch):
    """Code that holds an inlined older version of another file is not taken from disk."""
    twice()(21)
    monkeypatch.setattr(compiling, "_sources_stamp", lambda: (("changed.py", 1, 1),))
    other = twice()
    assert (other(21), hits(other)) == (42, 0)


def test_a_full_disk_does_not_stop_the_work(twice, monkeypatch):
    """Where saving fails, the result is there all the same."""

    def fail(self, *_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(FunctionCache, "save_overload", fail)
    kernel = twice()
    assert kernel(21) == 42
    assert kernel(1.5) == 3.0


def test_no_writable_folder_does_not_stop_the_work(twice, tmp_path, monkeypatch):
    """Where the folder asked for, the source's and the person's take no files, it works as well."""
    blocked = tmp_path / "__pycache__"
    blocked.write_text("a file where a folder is wanted")
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(blocked / "cache"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(blocked))
    monkeypatch.setenv("HOME", str(blocked))
    monkeypatch.setenv("LOCALAPPDATA", str(blocked))
    with pytest.raises(RuntimeError, match="no locator available"):
        FunctionCache(twice().py_func)
    assert twice()(21) == 42
