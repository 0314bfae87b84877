"""One process at a time makes a file; the others wait, are told for whom, and go on."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import filelock
import pytest

from evenhand.errors import TargetError
from evenhand.media.claim import Holder, claimed, lock_name
from evenhand.reasons import Reason, because
from evenhand.wording.saying import clause

_HOLDS = """
import sys
from pathlib import Path
from evenhand.media.claim import claimed
from evenhand.wording.saying import clause
target = Path(sys.argv[1])
with claimed(target, "A001", "web-hd", lambda why: print(clause(why), flush=True)):
    print("there" if target.exists() else "holds", flush=True)
    sys.stdin.readline()
    target.write_bytes(b"made")
"""


def maker(target: Path) -> subprocess.Popen[str]:
    """A process that makes a target as soon as it is told to by a line."""

    def hearing_ctrl_c() -> None:  # a test run in the background is started deaf to it
        signal.signal(signal.SIGINT, signal.default_int_handler)

    return subprocess.Popen(
        [sys.executable, "-c", _HOLDS, str(target)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=hearing_ctrl_c,
    )


def line(process: subprocess.Popen[str]) -> str:
    """The next thing that a maker says."""
    assert process.stdout is not None
    return process.stdout.readline().strip()


def test_the_second_waits_for_the_first_and_finds_its_work(tmp_path: Path) -> None:
    """It says for what, for whom and since when; no lock file is left at the end."""
    target = tmp_path / "A001.web-hd.mp4"
    first = maker(target)
    assert line(first) == "holds"
    second = maker(target)
    told = line(second)
    first.communicate("make it\n")
    then = line(second)
    second.communicate("make it\n")

    assert f"waiting for A001.web-hd.mp4, being made by process {first.pid} since " in told
    assert then == "there"
    assert [p.name for p in tmp_path.iterdir()] == [target.name]


def test_the_second_goes_on_when_the_first_is_killed(tmp_path: Path) -> None:
    """The system lets go of a dead process's lock; what it left is cleared away."""
    target = tmp_path / "a.mp4"
    first = maker(target)
    assert line(first) == "holds"
    second = maker(target)
    assert line(second).startswith("waiting for a.mp4")
    first.kill()
    first.communicate()
    then = line(second)
    second.communicate("make it\n")

    assert then == "holds"
    assert target.read_bytes() == b"made"
    assert [p.name for p in tmp_path.iterdir()] == ["a.mp4"]


def test_ctrl_c_ends_the_wait_and_leaves_the_first_alone(tmp_path: Path) -> None:
    """A third still waits for the first, although the second has gone."""
    target = tmp_path / "a.mp4"
    first = maker(target)
    assert line(first) == "holds"
    second = maker(target)
    assert line(second).startswith("waiting for a.mp4")
    os.kill(second.pid, signal.SIGINT)
    said = second.communicate(timeout=30)[1]
    third = maker(target)
    told = line(third)
    first.communicate("make it\n")
    then = line(third)
    third.communicate("make it\n")

    assert "KeyboardInterrupt" in said
    assert f"process {first.pid}" in told
    assert then == "there"


def test_never_two_at_once(tmp_path: Path) -> None:
    """Six processes that come and go, each of which removes the lock file under the others."""
    target = tmp_path / "a.mp4"
    script = (
        "import os, sys, time\n"
        "from pathlib import Path\n"
        "from evenhand.media.claim import claimed\n"
        "target = Path(sys.argv[1])\n"
        "for _ in range(15):\n"
        "    with claimed(target, 'A001', 'web-hd'):\n"
        "        os.close(os.open(target, os.O_CREAT | os.O_EXCL))\n"
        "        time.sleep(0.002)\n"
        "        target.unlink()\n"
    )
    runs = [subprocess.Popen([sys.executable, "-c", script, str(target)]) for _ in range(6)]

    assert [run.wait(120) for run in runs] == [0] * 6
    assert list(tmp_path.iterdir()) == []


def test_a_drive_without_locks_is_locked_by_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some network drives answer ENOSYS; the second still waits until the first is done."""
    import fcntl

    def knows_none(_handle: int, _how: int) -> None:
        raise OSError(errno.ENOSYS, "no locks here")

    monkeypatch.setattr(fcntl, "flock", knows_none)
    target = tmp_path / "a.mp4"
    done: list[str] = []

    def second() -> None:
        with claimed(target, "A001", "web-hd"):
            done.append("second")

    with claimed(target, "A001", "web-hd"):
        waiter = threading.Thread(target=second)
        waiter.start()
        time.sleep(0.6)
        done.append("first")
    waiter.join(30)

    assert done == ["first", "second"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("signed", [b"", b"[" * 4000, b'{"process": "x"}', b"\xff" * 100])
def test_a_lock_that_says_nonsense_is_waited_for_all_the_same(
    tmp_path: Path, signed: bytes
) -> None:
    """What it says is for people alone."""
    target = tmp_path / "a.mp4"
    told: list[Reason] = []
    other = filelock.FileLock(lock_name(target))
    other.acquire()
    lock_name(target).write_bytes(signed)

    def waiting(why: Reason) -> None:
        told.append(why)
        other.release()

    with claimed(target, "A001", "web-hd", waiting):
        pass

    assert told == [because("master.held", file="a.mp4")]
    assert clause(told[0]) == "waiting for a.mp4, being made by another process"


def test_another_machine_is_named(tmp_path: Path) -> None:
    """A process number alone would send people to the wrong one."""
    held = Holder(7, "tower", "A001", "web-hd", datetime(2026, 3, 4, 5, 6, tzinfo=UTC))
    facts = {"process": 7, "host": "tower", "since": held.since.isoformat()}
    said = clause(because("master.held", file="a.mp4", clip="A001", spec="web-hd", **facts))
    local = held.since.astimezone()

    assert said == (
        f"waiting for a.mp4, being made by process 7 on tower since {local:%Y-%m-%d %H:%M}"
    )


def test_a_folder_that_is_not_there_is_said_plainly(tmp_path: Path) -> None:
    """As for every other file."""
    with (
        pytest.raises(TargetError, match="its folder does not exist"),
        claimed(tmp_path / "nowhere" / "a.mp4", "A001", "web-hd"),
    ):
        pass
