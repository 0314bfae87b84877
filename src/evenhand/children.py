"""Work on files that may be broken, in child processes with limits of memory and time.

A decoder that crashes, hangs or eats memory takes its process with it: that costs one clip, and the
next one gets a fresh process. Children are started once a command and used again. Where the system
has it they are forked from a small server that holds the libraries and no threads: a fresh child
then costs hundredths of a second, elsewhere as long as the imports take.

A child ends with its parent, however that ended, and leaves interrupts from the keyboard to it.
"""

from __future__ import annotations

import importlib
import math
import multiprocessing
import os
import signal
import sys
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any, Final, Generic, TypeVar

from evenhand.errors import ClipError, EvenhandError, FaultError

Result = TypeVar("Result")
Key = TypeVar("Key")
_GRACE: Final = 3.0  # seconds that a child has to tidy up after it was told to end


@dataclass(frozen=True, slots=True)
class Limits:
    """What one call may take: bytes of memory beside what the libraries hold, and seconds."""

    memory: int = 3 << 30
    seconds: float = 600.0


@dataclass(frozen=True, slots=True)
class Task(Generic[Key]):
    """One call: a top-level function with arguments that can be pickled.

    `key` comes back with the outcome; `subject` is what an error is about, such as a path.
    """

    key: Key
    subject: str
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    limits: Limits = Limits()


@dataclass(frozen=True, slots=True)
class Outcome(Generic[Key, Result]):
    """What a call came to: its value, or the error that it ended with."""

    key: Key
    value: Result | None
    error: EvenhandError | None

    def got(self) -> Result:
        """The value. Raises the error where there is none."""
        if self.error is not None:
            raise self.error
        return self.value  # type: ignore[return-value]


class Pool:
    """Children that call functions on request; use it with `with`. None is started before work is.

    `modules` are imported in each child before its first call; `begin` ("module:function") is
    called there, for what must be set in each process.
    """

    def __init__(
        self, workers: int | None = None, modules: Sequence[str] = (), begin: str = ""
    ) -> None:
        self.workers = workers or min(os.cpu_count() or 1, 8)
        self._begin = begin
        forked = "forkserver" in multiprocessing.get_all_start_methods()
        self._context: Any = multiprocessing.get_context("forkserver" if forked else "spawn")
        if forked:
            self._context.set_forkserver_preload([*modules])
        self._children: list[_Child] = []

    def run(
        self,
        tasks: Iterable[Task[Key]],
        told: Callable[[Key, Any], None] | None = None,
    ) -> Iterator[Outcome[Key, Any]]:
        """Outcomes as they come. `told` hears what a call says meanwhile by `tell`."""
        left = deque(tasks)
        busy: dict[Connection, _Child] = {}
        while left or busy:
            while left and len(busy) < self.workers:
                child = self._free(busy.values())
                task = left.popleft()
                child.call(task)
                busy[child.pipe] = child
            for pipe in self._ready(busy):
                child = busy[pipe]
                outcome = child.heard(told)
                if outcome is not None:
                    del busy[pipe]
                    yield outcome

    def call(self, subject: str, function: Callable[..., Result], *arguments: Any) -> Result:
        """One call by itself. Raises what it ended with."""
        [outcome] = self.run([Task("", subject, function, arguments)])
        result: Result = outcome.got()
        return result

    def close(self) -> None:
        """End all children, first kindly."""
        for child in self._children:
            child.stop()
        for child in self._children:
            child.end()
        self._children = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _free(self, busy: Iterable[_Child]) -> _Child:
        taken = set(map(id, busy))
        self._children = [child for child in self._children if child.alive]
        for child in self._children:
            if id(child) not in taken:
                return child
        child = _Child(self._context, self._begin)
        self._children.append(child)
        return child

    def _ready(self, busy: dict[Connection, _Child]) -> list[Connection]:
        soonest = min(child.until for child in busy.values())
        left = max(0.0, soonest - time.monotonic()) if math.isfinite(soonest) else None
        ready = wait(list(busy), timeout=left)
        late = [pipe for pipe, child in busy.items() if child.until <= time.monotonic()]
        return [pipe for pipe in busy if pipe in ready or pipe in late]


class _Child:
    """One child process and the pipe to it."""

    def __init__(self, context: Any, begin: str) -> None:
        self.pipe, theirs = context.Pipe()
        alive, self._alive = context.Pipe(duplex=False)
        self._process = context.Process(target=_serve, args=(theirs, alive, begin), daemon=True)
        self._process.start()
        theirs.close()
        alive.close()
        self._task: Task[Any] | None = None
        self.until = float("inf")
        self.alive = True

    def call(self, task: Task[Any]) -> None:
        """Begin a call."""
        self._task = task
        self.until = time.monotonic() + task.limits.seconds
        self.pipe.send((task.function, task.arguments, task.limits.memory))

    def heard(self, told: Callable[[Any, Any], None] | None) -> Outcome[Any, Any] | None:
        """What the child said; None where it is not done yet."""
        task = self._task
        assert task is not None
        try:
            if not self.pipe.poll():
                return self._late(task)
            kind, value = self.pipe.recv()
        except (EOFError, OSError):
            return Outcome(task.key, None, self._crashed(task))
        if kind == "told":
            if told is not None:
                told(task.key, value)
            return None
        self.until, self._task = float("inf"), None
        if kind == "value":
            return Outcome(task.key, value, None)
        if kind == "memory":
            return Outcome(task.key, None, _too_large(task))
        return Outcome(task.key, None, _raised(task, value))

    def _late(self, task: Task[Any]) -> Outcome[Any, Any] | None:
        if time.monotonic() < self.until:
            return None
        self._process.kill()
        self.end()
        found = f"it took longer than {task.limits.seconds:.0f} s and was stopped"
        remedy = "Copy it again from the card, or leave it out"
        return Outcome(task.key, None, ClipError(task.subject, found, remedy, "crashed"))

    def _crashed(self, task: Task[Any]) -> EvenhandError:
        self._process.join(_GRACE)
        code = self._process.exitcode
        self.end()
        how = f"exit {code}"
        if code is not None and code < 0:
            with suppress(ValueError):
                how = signal.Signals(-code).name
        return ClipError(
            task.subject,
            f"what reads it crashed ({how})",
            "Copy it again from the card, or leave it out",
            "crashed",
        )

    def stop(self) -> None:
        """Ask the child to end: it tidies up what it was about."""
        if self.alive and self._task is not None:
            self._process.terminate()

    def end(self) -> None:
        """Let the child go, and see it off."""
        if not self.alive:
            return
        self.alive = False
        self.pipe.close()
        self._alive.close()
        self._process.join(_GRACE)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()


def tell(message: Any) -> None:
    """Say something to the parent from within a call; nothing happens outside of a child."""
    if _speaking is not None:
        _speaking.send(("told", message))


def _too_large(task: Task[Any]) -> EvenhandError:
    return ClipError(
        task.subject,
        f"reading it needs more than {task.limits.memory / (1 << 30):.1f} GB of memory",
        "Copy it again from the card, or leave it out",
        "crashed",
    )


def _raised(task: Task[Any], value: Any) -> EvenhandError:
    if isinstance(value, EvenhandError):
        return value
    name, trace = value
    return FaultError(task.subject, name, trace)


_speaking: Connection | None = None


def _serve(pipe: Connection, alive: Connection, begin: str) -> None:
    """The life of a child: calls, one after the other, until its parent closes the pipe."""
    global _speaking
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _ended)
    threading.Thread(target=_ends_with_parent, args=(alive,), daemon=True).start()
    _speaking = pipe
    if begin:
        module, _, function = begin.partition(":")
        getattr(importlib.import_module(module), function)()
    while True:
        try:
            function, arguments, memory = pipe.recv()
        except (EOFError, OSError):
            return
        answer = _answer(function, arguments, memory)
        try:
            pipe.send(answer)
        except BrokenPipeError:
            return
        except Exception as error:  # what cannot be pickled is nobody's clip's fault
            pipe.send(("error", (type(error).__name__, traceback.format_exc())))


def _answer(function: Callable[..., Any], arguments: tuple[Any, ...], memory: int) -> Any:
    try:
        _limit(memory)
        return "value", function(*arguments)
    except EvenhandError as error:
        return "error", error
    except MemoryError:
        return "memory", None
    except Exception as error:
        if "Insufficient memory" in str(error):  # OpenCV's own word for it
            return "memory", None
        return "error", (type(error).__name__, traceback.format_exc())
    finally:
        _limit(None)


def _limit(memory: int | None) -> None:
    """Limit what this process may write to, beside what it holds now; None takes the limit off.

    Counts data: address space that libraries only reserve does not. Systems without such a limit
    have none.
    """
    if not sys.platform.startswith("linux"):
        return
    import resource

    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    limit = most
    if memory is not None:
        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            pages = int(file.read().split()[5])
        limit = pages * resource.getpagesize() + memory
        limit = limit if most == resource.RLIM_INFINITY else min(limit, most)
    resource.setrlimit(resource.RLIMIT_DATA, (limit, most))


def _ended(_number: int, _frame: Any) -> None:
    raise SystemExit(1)


def _ends_with_parent(alive: Connection) -> None:
    """Wait until the parent is gone: what is left of this process then has no purpose."""
    with suppress(EOFError, OSError):
        alive.recv()
    os._exit(1)
