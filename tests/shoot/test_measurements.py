"""The measurement database can be lost in every way, and costs time and one line."""

from __future__ import annotations

import logging
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from evenhand.shoot import measurements as module
from evenhand.shoot.measurements import DATABASE, Measurements


class Found(msgspec.Struct, frozen=True):
    number: float


def missing(path: Path) -> None:
    path.unlink(missing_ok=True)


def broken(path: Path) -> None:
    path.write_bytes(b"this is no database, but it is long enough to be taken for one " * 99)


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    with Measurements(tmp_path) as database:
        database.keep("f", "kind 1", Found(1.5))
    return tmp_path


def test_what_was_kept_comes_back(kept: Path) -> None:
    """By fingerprint and kind, as the record it was; forgotten by the beginning of its kind."""
    with Measurements(kept) as database:
        database.keep_all("f", {"kind 2": Found(2.5), "other": Found(3.5)})
        assert database.recall("f", "kind 1", Found) == Found(1.5)
        assert database.recall("g", "kind 1", Found) is None
        assert database.kinds("f", "kind ") == ("kind 1", "kind 2")
        database.forget("f", "kind ")
        assert database.kinds("f", "") == ("other",)


def test_a_record_of_another_shape_counts_as_none(kept: Path) -> None:
    """It is measured again."""
    with Measurements(kept) as database:
        database.keep("f", "kind 1", {"letters": "a"})
        assert database.recall("f", "kind 1", Found) is None


@pytest.mark.parametrize("harm", [missing, broken, cut, a_folder])
def test_a_lost_database_costs_time_alone(
    kept: Path, harm: Callable[[Path], None], caplog: pytest.LogCaptureFixture
) -> None:
    """Nothing is raised, what is measured now is there until the end, and one line says it."""
    for leftover in kept.glob(f"{DATABASE}-*"):
        leftover.unlink()
    harm(kept / DATABASE)

    with caplog.at_level(logging.WARNING), Measurements(kept) as database:
        database.recall("f", "kind 1", Found)
        database.keep("f", "kind 2", Found(2.5))
        assert database.recall("f", "kind 2", Found) == Found(2.5)
        assert "kind 2" in database.kinds("f", "kind")

    assert len(caplog.messages) == (0 if harm is missing else 1)


def test_a_database_that_another_holds_costs_time_alone(
    kept: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Locked for good by another program."""
    monkeypatch.setattr(module, "PATIENCE", 0.1)
    other = sqlite3.connect(kept / DATABASE)
    other.execute("PRAGMA locking_mode=EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    try:
        with caplog.at_level(logging.WARNING), Measurements(kept) as database:
            database.keep("f", "kind 2", Found(2.5))
            assert database.recall("f", "kind 2", Found) == Found(2.5)
    finally:
        other.close()

    assert len(caplog.messages) == 1


FULL = """
import resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
from evenhand.shoot.measurements import Measurements
with Measurements(Path(sys.argv[1])) as database:
    for number in range(40):
        database.keep("f", f"kind {number}", b"x" * 4000)
    assert all(database.recall("f", f"kind {n}", bytes) for n in range(40))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are POSIX")
def test_a_disk_that_is_full_costs_time_alone(tmp_path: Path) -> None:
    """A file that may not grow stands for a full disk: all is there until the end, one line."""
    run = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path)], capture_output=True, text=True, check=False
    )

    assert run.returncode == 0, run.stderr
    assert run.stderr.count("cannot be kept") == 1
