"""A child that crashes, hangs or eats memory costs one call; nothing is left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from evenhand.children import Limits, Pool, Task, tell
from evenhand.errors import (
    ClipError,
    EvenhandError,
    FaultError,
    ShootError,
    TargetError,
    UsageError,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")


def double(number: int) -> int:
    return 2 * number


def refuse(name: str) -> None:
    raise ClipError(name, "it is no clip", "Leave it out")


def fail_as(kind: type[EvenhandError]) -> None:
    raise kind("A001.mov", "it is cut short", "Copy it again", "cut-short")


def stumble() -> None:
    raise KeyError("where it was")


def crash() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def hang() -> None:
    time.sleep(60)


def swell() -> int:
    held = bytearray()
    while True:
        held += bytes(1 << 24)


def talk(number: int) -> int:
    for part in range(3):
        tell(part)
    return number


def local() -> object:
    return lambda: None


def pid() -> int:
    return os.getpid()


def task(key: object, function: object, *arguments: object, **limits: float) -> Task[object]:
    return Task(key, f"{key}.mov", function, arguments, Limits(**limits))  # type: ignore[arg-type]


def test_values_come_back_each_once() -> None:
    """Forty calls on two children."""
    with Pool(2) as pool:
        found = {o.key: o.got() for o in pool.run(task(n, double, n) for n in range(40))}

    assert found == {n: 2 * n for n in range(40)}


def test_children_are_used_again_and_are_others() -> None:
    """Not one process a call, and not this one."""
    with Pool(1) as pool:
        pids = {pool.call("a", pid) for _ in range(5)}

    assert len(pids) == 1
    assert os.getpid() not in pids


def test_an_error_for_people_comes_back_as_it_was() -> None:
    """With its three parts."""
    with Pool(1) as pool, pytest.raises(ClipError) as caught:
        pool.call("A001.mov", refuse, "A001.mov")

    error = caught.value
    assert (error.subject, error.found, error.remedy) == (
        "A001.mov",
        "it is no clip",
        "Leave it out",
    )


def test_a_fault_brings_its_trace() -> None:
    """What went wrong is one line; where stands in the trace."""
    with Pool(1) as pool, pytest.raises(FaultError) as caught:
        pool.call("A001.mov", stumble)

    assert str(caught.value).count("\n") == 0
    assert "KeyError" in str(caught.value)
    assert "in stumble" in caught.value.trace


def test_a_result_that_cannot_be_sent_is_a_fault() -> None:
    """And the child goes on."""
    with Pool(1) as pool:
        with pytest.raises(FaultError) as caught:
            pool.call("A001.mov", local)
        assert pool.call("A001.mov", double, 2) == 4

    assert "pickle" in caught.value.trace


@pytest.mark.parametrize(
    ("function", "limits", "words"),
    [
        (crash, {}, "crashed (SIGSEGV)"),
        (hang, {"seconds": 0.5}, "longer than 0 s"),
        pytest.param(
            swell,
            {"memory": 1 << 28},
            "more than 0.2 GB",
            marks=pytest.mark.skipif(
                not sys.platform.startswith("linux"), reason="limits of data are Linux's"
            ),
        ),
    ],
)
def test_what_goes_wrong_costs_one_call(
    function: object, limits: dict[str, float], words: str
) -> None:
    """The calls before, beside and after it are answered."""
    tasks = [task(n, double, n) for n in range(3)]
    tasks += [task("bad", function, **limits), *(task(n, double, n) for n in range(3, 6))]
    with Pool(2) as pool:
        outcomes = {outcome.key: outcome for outcome in pool.run(tasks)}

    assert {k: o.value for k, o in outcomes.items() if k != "bad"} == {n: 2 * n for n in range(6)}
    error = outcomes["bad"].error
    assert isinstance(error, ClipError)
    assert words in str(error)
    assert str(error.subject) == "bad.mov"


def test_a_call_may_say_how_far_it_is() -> None:
    """In its order, and before its value."""
    heard: list[tuple[object, int]] = []
    with Pool(1) as pool:
        [outcome] = pool.run([task("a", talk, 7)], told=lambda key, part: heard.append((key, part)))

    assert heard == [("a", 0), ("a", 1), ("a", 2)]
    assert outcome.got() == 7


PROGRAM = """
import sys
sys.path.insert(0, {tests!r})
from evenhand.children import Pool
import test_children as here

if __name__ == "__main__":
    with Pool(1) as pool:
        print(pool.call("a", here.pid), flush=True)
        pool.call("a", here.hang)
"""


def gone(pid: int) -> bool:
    """Within five seconds."""
    for _ in range(50):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        if Path(f"/proc/{pid}/stat").exists() and " Z " in Path(f"/proc/{pid}/stat").read_text():
            return True
        time.sleep(0.1)
    return False


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_no_child_outlives_its_parent(tmp_path: Path, number: signal.Signals) -> None:
    """Interrupted from the keyboard or killed: the child that was at work goes too."""
    program = tmp_path / "program.py"
    program.write_text(PROGRAM.format(tests=str(Path(__file__).parent)), "utf-8")
    with subprocess.Popen(
        [sys.executable, str(program)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as run:
        assert run.stdout is not None
        child = int(run.stdout.readline())
        time.sleep(0.3)

        run.send_signal(number)

        assert run.wait(timeout=15) != 0
        assert gone(child)


@pytest.mark.parametrize("kind", [ClipError, ShootError, UsageError, TargetError])
def test_every_kind_of_error_comes_back(kind: type[EvenhandError]) -> None:
    """With its code, which is what files keep of it."""
    with Pool(1) as pool, pytest.raises(kind) as caught:
        pool.call("A001.mov", fail_as, kind)

    assert (caught.value.code, caught.value.exit_status) == ("cut-short", kind.exit_status)
